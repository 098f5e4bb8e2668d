// Where things stand on the map, the year line and the hill profile.
import assert from "node:assert/strict";
import { test } from "node:test";
import "./setup.mjs";
import { inside, metreAt, originAt, relative, world } from "../../../maps/page/js/plan/ground.js";
import { step } from "../../../maps/page/js/plan/steps.js";
import { inHillOrder, makeScale as hillScale, nearestRow, nextRow, roundTicks } from "../../../maps/page/js/profile/scale.js";
import { between, colourOf, position, tickCounts } from "../../../maps/page/js/pressure/ramp.js";
import { dayNumber, inOrder, laneOf, makeScale, monthStarts, nextMark } from "../../../maps/page/js/yearline/scale.js";

test("the map is Web Mercator", () => {
  // IOGP Publication 373-7-2 (2019), section 3.2.1.2, the worked example of method 1024: 24°22'54.433"N, 100°20'00"W is
  // E -11 169 055.58 m, N 2 800 000.00 m on the sphere of 6 378 137 m; here in 256ths of the way round it.
  const unit = (2 * Math.PI * 6378137) / 256;
  const [x, y] = world(-(100 + 20 / 60), 24 + 22 / 60 + 54.433 / 3600);
  assert.ok(Math.abs((x - 128) * unit - -11169055.58) < 0.01);
  assert.ok(Math.abs((128 - y) * unit - 2800000.0) < 0.01);
});

test("a metre is larger on the map away from the equator (scale factor 1/cos of the latitude: Snyder 1987, USGS Professional Paper 1395, eq. 7-3)", () => {
  assert.ok(Math.abs(metreAt(60) / metreAt(0) - 2) < 1e-12);
});

test("places near the origin keep their millimetres (no published example)", () => {
  const origin = originAt(-9.4, -31.9);
  const [x, y] = relative(-9.4 + 1e-8, -31.9, origin);
  assert.ok(x > 0 && Math.abs(x - (256 * 1e-8) / 360) < 1e-13);
  assert.equal(y, 0);
});

test("inside and outside a ring with a bay (no published example)", () => {
  const ring = [[0, 0], [4, 0], [4, 4], [2, 1], [0, 4]];
  assert.ok(inside(1, 1, ring) && inside(3.5, 2, ring));
  assert.ok(!inside(2, 3, ring) && !inside(-1, 1, ring) && !inside(5, 1, ring));
});

test("days have their number (the Modified Julian Date of 1970-01-01 is 40587, of 2000-01-01 51544: IERS Conventions 2010, chapter 10)", () => {
  assert.equal(dayNumber("1970-01-01"), 0);
  assert.equal(dayNumber("2000-01-01"), 51544 - 40587);
  // Gregorian calendar: 2024 has a 29 February, 1900 had none
  assert.equal(dayNumber("2024-03-01") - dayNumber("2024-02-28"), 2);
  assert.equal(dayNumber("1900-03-01") - dayNumber("1900-02-28"), 1);
});

test("the year line is even and begins and ends where it should (no published example)", () => {
  const scale = makeScale("2025-07-01", "2026-06-30", 100, 828);
  assert.equal(scale.x("2025-07-01"), 100);
  assert.equal(scale.x("2026-06-30"), 828);
  assert.equal(scale.days, 364);
  assert.ok(Math.abs(scale.x("2025-07-02") - scale.x("2025-07-01") - 2) < 1e-9);
  const months = monthStarts("2025-07-01", "2026-06-30");
  assert.equal(months.length, 12);
  assert.deepEqual([months[0], months[6], months.at(-1)], ["2025-07-01", "2026-01-01", "2026-06-01"]);
});

test("marks stand in the order of days, then lanes, and the keyboard goes through all of them (no published example)", () => {
  const marks = [{ date: "2026-01-02", kind: "walk" }, { date: "2025-11-12", kind: "survey" }, { date: "2025-11-12", kind: "walk" }, { date: "2025-11-12", kind: "zone" }];
  assert.deepEqual(inOrder(marks).map((one) => one.kind), ["walk", "zone", "survey", "walk"]);
  assert.equal(laneOf("anything new"), "sward");
  let at = nextMark(4, -1, "ArrowRight");
  const seen = [at];
  while (at < 3) seen.push(at = nextMark(4, at, "ArrowRight"));
  assert.deepEqual(seen, [0, 1, 2, 3]);
  assert.equal(nextMark(4, 3, "ArrowRight"), 3);
  assert.equal(nextMark(0, -1, "End"), -1);
});

test("the hill profile: a place leads to a pixel and back; ticks are round (no published example)", () => {
  const scale = hillScale({ width: 800, height: 200 }, { from: -4, to: 96 }, 12);
  for (const metres of [-4, 0, 33.3, 96]) assert.ok(Math.abs(scale.metres(scale.x(metres)) - metres) < 1e-9);
  assert.ok(scale.y(12) < scale.y(0));
  assert.equal(scale.y(50), scale.y(12));
  for (const [from, to] of [[0, 87], [-4, 96], [0, 0.7], [3, 1300]]) {
    const ticks = roundTicks(from, to, 6);
    assert.ok(ticks.length >= 2 && ticks.length <= 13, `${ticks}`);
    assert.ok(ticks[0] >= from && ticks.at(-1) <= to + 1e-9);
  }
});

test("rows go up the hill one by one (no published example)", () => {
  const rows = inHillOrder([{ block: "B", row: 1, upslope_m: 10 }, { block: "A", row: 1, upslope_m: 10 }, { block: "A", row: 2, upslope_m: 4 }, { block: "A", row: 3, upslope_m: null }]);
  assert.deepEqual(rows.map(({ block, row }) => `${block}${row}`), ["A2", "A1", "B1"]);
  assert.equal(nextRow(rows, 0, "ArrowRight"), 1);
  assert.equal(nextRow(rows, 1, "ArrowUp"), 2);
  assert.equal(nextRow(rows, 2, "ArrowUp"), 1);
  assert.equal(nextRow(rows, -1, "ArrowRight"), 0);
  assert.equal(nearestRow(rows, 5), 0);
  assert.equal(nearestRow([], 5), -1);
});

test("colour grows with the count and stops at the top (no published example)", () => {
  const ramp = { top_per_beat: 16, colours: ["#000000", "#808080", "#ffffff"] };
  assert.equal(position(4, 16), 0.5);
  assert.equal(position(99, 16), 1);
  assert.equal(position(3, 0), 0);
  assert.equal(colourOf(null, ramp), null);
  assert.equal(colourOf(0, ramp), "rgb(0, 0, 0)");
  assert.equal(colourOf(16, ramp), "rgb(255, 255, 255)");
  const light = Array.from({ length: 17 }, (_none, count) => Number(/\d+/.exec(colourOf(count, ramp))[0]));
  assert.deepEqual(light, light.toSorted((a, b) => a - b));
  assert.equal(between(0.5, ramp.colours), between(128 / 255, ramp.colours));
  for (const [top, threshold] of [[16, 4], [12, null], [3.7, 1], [200, 30]]) {
    const ticks = tickCounts(top, threshold);
    assert.ok(ticks.includes(0) && ticks.includes(top) && (threshold === null || ticks.includes(threshold)));
    assert.deepEqual(ticks, ticks.toSorted((a, b) => a - b));
  }
});

test("arrow keys go where they point on the screen (no published example)", () => {
  // Two rows of three trees, 5 m apart along x, rows 7 m apart, the second row below the first on the screen (y grows downwards).
  const centres = [0, 1, 2, 0, 1, 2].flatMap((position, i) => [5 * position, i < 3 ? 0 : 7]);
  const corners = centres.flatMap((_none, k) => (k % 2 ? [] : [-2.5, -3.5, 2.5, -3.5, 2.5, 3.5, -2.5, 3.5].map((by, i) => centres[k + (i % 2)] + by)));
  const set = { n: 6, corners, centres, block: [0, 0, 0, 0, 0, 0], row: [1, 1, 1, 2, 2, 2], position: [1, 2, 3, 1, 2, 3], tree: [], names: ["A"], metre: 1 };
  assert.equal(step(set, -1, "ArrowUp"), 0);
  assert.equal(step(set, 0, "ArrowRight"), 1);
  assert.equal(step(set, 1, "ArrowDown"), 4);
  assert.equal(step(set, 4, "ArrowUp"), 1);
  assert.equal(step(set, 0, "ArrowLeft"), null);
  assert.equal(step(set, 0, "ArrowUp"), null);
  assert.deepEqual([step(set, 4, "Home"), step(set, 4, "End")], [3, 5]);
  assert.equal(step({ ...set, n: 0 }, -1, "Home"), null);
});
