// Drawing without a page. Lengths and areas are held to GeographicLib in ../test_ground_measures.py; the rest here are
// properties that must hold (no published example), said case by case.
import assert from "node:assert/strict";
import { test } from "node:test";
import "./setup.mjs";
import { areaHa, bearingDeg, carriedOut, cornersOf, crossesItself, lengthM, longestEdgeDeg, onwards, polygonOf, typedPlace, within } from "../../../maps/page/js/ground/geo.js";
import { Latest } from "../../../maps/page/js/ground/latest.js";
import { placeIn } from "../../../maps/page/js/ground/placein.js";
import { dragged, hold, middleRow, rowUnder } from "../../../maps/page/js/ground/rowdrag.js";
import { Track, plainer } from "../../../maps/page/js/ground/track.js";

const START = [149.1, -33.25];
/** Corners by steps of [bearing, metres]. */
const shape = (steps, at = START) => steps.reduce((corners, [way, metres]) => [...corners, onwards(corners.at(-1), way, metres)], [at]);
const square = shape([[90, 100], [180, 100], [270, 100]]);

test("a step of so many metres that way is found again", () => {
  for (const way of [0, 37, 90, 181, 270, 359]) {
    const to = onwards(START, way, 250);
    assert.ok(Math.abs(lengthM(START, to) - 250) < 0.001);
    assert.ok(Math.abs(bearingDeg(START, to) - way) < 0.001);
  }
});

test("a square of a hundred metres is a hectare, whichever way round", () => {
  assert.ok(Math.abs(areaHa(square) - 1) < 1e-4);
  assert.ok(Math.abs(areaHa([...square].reverse()) - 1) < 1e-4);
  assert.equal(areaHa(square.slice(0, 2)), 0);
});

test("rings are counter-clockwise and closed (RFC 7946, section 3.1.6)", () => {
  for (const corners of [square, [...square].reverse()]) {
    const [ring] = polygonOf(corners).coordinates;
    assert.deepEqual(ring[0], ring.at(-1));
    const twice = ring.slice(0, -1).reduce((sum, [x, y], i) => sum + (x - START[0]) * (ring[i + 1][1] - START[1]) - (ring[i + 1][0] - START[0]) * (y - START[1]), 0);
    assert.ok(twice > 0);
    assert.equal(cornersOf(polygonOf(corners)).length, 4);
  }
});

test("an outline that crosses itself is seen, one that does not is not", () => {
  assert.equal(crossesItself(square), null);
  assert.notEqual(crossesItself([square[0], square[2], square[1], square[3]]), null);
});

test("a point in the square is within, one beside it is not", () => {
  assert.ok(within(onwards(onwards(START, 90, 50), 180, 50), square));
  assert.ok(!within(onwards(START, 270, 1), square));
});

test("a line that ends inside is carried on until it is right across", () => {
  const inside = onwards(onwards(START, 90, 50), 180, 40);
  const line = carriedOut([inside, onwards(inside, 90, 10)], square);
  assert.ok(line.every((at) => !within(at, square)));
  assert.ok(Math.abs(bearingDeg(line[0], line[1]) - 90) < 0.01);
  const across = [onwards(inside, 0, 90), onwards(inside, 180, 90)];
  assert.deepEqual(carriedOut(across, square), across);
});

test("rows run along the longest edge", () => {
  const long = shape([[80, 300], [170, 60], [260, 300]]);
  assert.ok(Math.abs(longestEdgeDeg(long) - 80) < 0.01);
});

test("places are read as people write them", () => {
  assert.deepEqual(typedPlace("33.25 S, 149.1 E"), [149.1, -33.25]);
  assert.deepEqual(typedPlace("149.1 E 33.25 S"), [149.1, -33.25]);
  assert.deepEqual(typedPlace("-33.25, 149.1"), [149.1, -33.25]);
  assert.deepEqual(typedPlace("\u221233,25\u00b0  149,1\u00b0"), [149.1, -33.25]);
  for (const wrong of ["", "here", "149.1, -33.25", "33.25", "1, 2, 3"]) assert.equal(typedPlace(wrong), null);
});

test("a file tells its first place (GeoJSON: RFC 7946; KML 2.3: OGC 12-007r2; GPX 1.1)", () => {
  assert.deepEqual(placeIn('{"type":"Polygon","coordinates":[[[149.1,-33.25],[149.2,-33.2]]]}', "a.geojson"), [149.1, -33.25]);
  assert.deepEqual(placeIn("<coordinates>\n 149.1,-33.25,0 149.2,-33.2</coordinates>", "a.kml"), [149.1, -33.25]);
  assert.deepEqual(placeIn('<trkpt lat="-33.25" lon="149.1">', "a.gpx"), [149.1, -33.25]);
  assert.deepEqual(placeIn("block,longitude,latitude\nTop,149.1,-33.25", "a.csv"), [149.1, -33.25]);
  assert.equal(placeIn('{"coordinates":[[[690000,6310000]]]}', "a.json"), null);
  assert.equal(placeIn("nothing", "a.kml"), null);
});

const rows = [0, 7, 14, 21, 28].map((y) => [[0, y], [100, y]]);

test("the middle row turns all rows about its other end", () => {
  assert.equal(middleRow(rows), 2);
  assert.equal(rowUnder([50, 13], rows, 2), 2);
  assert.equal(rowUnder([50, 10.5], rows, 2), -1);
  const held = hold([0, 14], rows, 2, { bearing: 90, spacing: 7 });
  assert.equal(held.kind, "turn");
  // From (100, 14) the handle goes from due west to 45 degrees north of west: the rows turn by 45 degrees.
  assert.deepEqual(dragged(held, [0, 114]), { bearing: 135 });
  assert.deepEqual(dragged(held, [0, 14]), { bearing: 90 });
});

test("another row, dragged away, spaces them: two spacings become two of half as much again", () => {
  const held = hold([50, 28], rows, 4, { bearing: 90, spacing: 7 });
  assert.deepEqual(dragged(held, [70, 35]), { spacing: 10.5 });
  assert.deepEqual(dragged(held, [50, 14]), { spacing: 1 });
  assert.deepEqual(dragged(held, [50, 2000]), { spacing: 50 });
});

test("only the last of several asks counts", async () => {
  const asked = [];
  const done = [];
  const latest = new Latest(async (n, signal) => { asked.push(n); await new Promise((go) => setTimeout(go, 15)); return signal.aborted ? "given up" : n; }, (answer) => done.push(answer), (error) => done.push(error), 5);
  for (const n of [1, 2, 3]) latest.want(n);
  await new Promise((go) => setTimeout(go, 12));
  assert.deepEqual(asked, [3]);
  latest.want(4);
  assert.ok(latest.busy);
  await new Promise((go) => setTimeout(go, 60));
  assert.deepEqual(asked, [3, 4]);
  assert.deepEqual(done, [4]);
  latest.want(5);
  latest.stop();
  await new Promise((go) => setTimeout(go, 20));
  assert.deepEqual(asked, [3, 4]);
});

const fix = ([longitude, latitude], accuracy = 4) => ({ longitude, latitude, accuracy });

test("a poor position is not taken, standing still is no step", () => {
  const track = new Track();
  assert.equal(track.take(fix(START, 25)), "poor");
  assert.equal(track.corner(), false);
  assert.equal(track.take(fix(START)), "kept");
  assert.equal(track.take(fix(onwards(START, 90, 1.5))), "still");
  assert.equal(track.take(fix(onwards(START, 90, 5))), "kept");
  assert.equal(track.points.length, 2);
});

test("a square walked with a wobble of half a metre comes out with its four corners", () => {
  const track = new Track();
  let at = START;
  for (const way of [90, 180, 270, 0]) {
    for (let k = 1; k <= 20; k += 1) {
      track.take(fix(onwards(onwards(at, way, 5 * k), way + 90, k % 2 ? 0.5 : -0.5)));
      if (k === 20) track.corner();
    }
    at = onwards(at, way, 100);
  }
  const corners = track.corners();
  assert.ok(corners.length >= 4 && corners.length <= 6, `${corners.length} corners`);
  assert.ok(Math.abs(areaHa(corners) - 1) < 0.05);
  track.undoCorner();
  assert.ok(track.points.at(-1).corner);
});

test("a straight line keeps its ends, a bend stays", () => {
  const straight = Array.from({ length: 9 }, (_none, k) => onwards(START, 90, 10 * k));
  assert.equal(plainer(straight, 0.5).length, 2);
  const bent = [...straight, ...shape([[180, 30], [180, 30]], straight.at(-1)).slice(1)];
  assert.deepEqual(plainer(bent, 0.5), [bent[0], straight.at(-1), bent.at(-1)]);
});
