// @ts-check
/**
 * Lengths, bearings and areas of what is being drawn, before the service has seen it. No DOM: tested by node.
 *
 * A shape of a few hundred metres is laid flat on the ellipsoid of WGS 84 around its own middle: a degree of latitude is M pi / 180 metres, one of longitude
 * N cos(latitude) pi / 180, with M and N the radii of curvature in the meridian and the prime vertical (Torge and Mueller, Geodesy, 4th ed. 2012, section 4.1.3).
 *
 * @typedef {[number, number]} LonLat Longitude, latitude [degrees, WGS 84].
 * @typedef {[number, number]} Metres East, north of a frame's middle [m].
 * @typedef {{lon: number, lat: number, east: number, north: number}} Frame Middle; metres in a degree of longitude and of latitude there.
 */

const RADIUS_M = 6378137;
const FLATTENING = 1 / 298.257223563;
const E2 = FLATTENING * (2 - FLATTENING);
const RADIAN = Math.PI / 180;

/** @param {number} lon @param {number} lat @returns {Frame} */
export function frameAt(lon, lat) {
  const sine = Math.sin(lat * RADIAN);
  const w = Math.sqrt(1 - E2 * sine * sine);
  const meridian = (RADIUS_M * (1 - E2)) / w ** 3;
  const prime = RADIUS_M / w;
  return { lon, lat, east: prime * Math.cos(lat * RADIAN) * RADIAN, north: meridian * RADIAN };
}

/** @param {Frame} frame @param {LonLat} at @returns {Metres} */
export function toMetres(frame, [lon, lat]) {
  return [(lon - frame.lon) * frame.east, (lat - frame.lat) * frame.north];
}

/** @param {Frame} frame @param {Metres} at @returns {LonLat} */
export function toDegrees(frame, [x, y]) {
  return [frame.lon + x / frame.east, frame.lat + y / frame.north];
}

/** @param {LonLat} a @param {LonLat} b @returns {Metres} From a to b. */
function step(a, b) {
  const frame = frameAt(a[0], (a[1] + b[1]) / 2);
  return [(b[0] - a[0]) * frame.east, (b[1] - a[1]) * frame.north];
}

/** @param {LonLat} a @param {LonLat} b @returns {number} [m] */
export function lengthM(a, b) {
  return Math.hypot(...step(a, b));
}

/** @param {LonLat} a @param {LonLat} b @returns {number} Clockwise from north, 0 to 360 [degrees]. */
export function bearingDeg(a, b) {
  const [x, y] = step(a, b);
  return bearingOf(x, y);
}

/** @param {number} x East. @param {number} y North. @returns {number} Clockwise from north, 0 to 360 [degrees]. */
export function bearingOf(x, y) {
  return (Math.atan2(x, y) / RADIAN + 360) % 360;
}

/** Where one comes by going so far that way. @param {LonLat} from @param {number} bearing [degrees] @param {number} metres @returns {LonLat} */
export function onwards(from, bearing, metres) {
  const north = Math.cos(bearing * RADIAN) * metres;
  const frame = frameAt(from[0], from[1] + north / 2 / frameAt(from[0], from[1]).north);
  return [from[0] + (Math.sin(bearing * RADIAN) * metres) / frame.east, from[1] + north / frame.north];
}

/** The middle of the box around some points. @param {LonLat[]} points @returns {LonLat} */
export function middle(points) {
  const [west, south, east, north] = boxOf(points);
  return [(west + east) / 2, (south + north) / 2];
}

/** @param {LonLat[]} points @returns {[number, number, number, number]} West, south, east, north. */
export function boxOf(points) {
  return [Math.min(...points.map(([lon]) => lon)), Math.min(...points.map(([, lat]) => lat)), Math.max(...points.map(([lon]) => lon)), Math.max(...points.map(([, lat]) => lat))];
}

/** Area inside corners (the last is joined to the first), by the shoelace formula. @param {LonLat[]} corners @returns {number} [ha], 0 for fewer than three corners. */
export function areaHa(corners) {
  if (corners.length < 3) return 0;
  const frame = frameAt(...middle(corners));
  const flat = corners.map((one) => toMetres(frame, one));
  let twice = 0;
  flat.forEach(([x, y], i) => {
    const [nx, ny] = flat[(i + 1) % flat.length];
    twice += x * ny - nx * y;
  });
  return Math.abs(twice) / 2 / 10_000;
}

/** The bearing of the longest edge, as a line has it: 0 to 180 [degrees]. @param {LonLat[]} corners */
export function longestEdgeDeg(corners) {
  let best = 0;
  let least = -1;
  corners.forEach((one, i) => {
    const next = corners[(i + 1) % corners.length];
    const metres = lengthM(one, next);
    if (metres > least) [least, best] = [metres, bearingDeg(one, next)];
  });
  return best % 180;
}

/** Whether an outline crosses itself. @param {LonLat[]} corners @returns {number | null} The corner (from 0) at which the first edge that is crossed begins. */
export function crossesItself(corners) {
  const n = corners.length;
  for (let i = 0; i < n; i += 1) {
    for (let j = i + 2; j < n; j += 1) {
      if (i === 0 && j === n - 1) continue;
      if (edgesCross(corners[i], corners[i + 1], corners[j], corners[(j + 1) % n])) return i;
    }
  }
  return null;
}

/** @param {LonLat} a @param {LonLat} b @param {LonLat} c @param {LonLat} d */
function edgesCross(a, b, c, d) {
  const side = (/** @type {LonLat} */ p, /** @type {LonLat} */ q, /** @type {LonLat} */ r) => Math.sign((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]));
  return side(a, b, c) !== side(a, b, d) && side(c, d, a) !== side(c, d, b) && side(a, b, c) !== 0 && side(c, d, a) !== 0;
}

/** @param {LonLat} point @param {LonLat[]} corners Even-odd rule. */
export function within([x, y], corners) {
  let inside = false;
  for (let i = 0, j = corners.length - 1; i < corners.length; j = i, i += 1) {
    const [xi, yi] = corners[i];
    const [xj, yj] = corners[j];
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) inside = !inside;
  }
  return inside;
}

/** A line whose ends lie inside an outline, carried straight on until they are outside: what is cut must be cut right across. @param {LonLat[]} line @param {LonLat[]} corners @returns {LonLat[]} */
export function carriedOut(line, corners) {
  const [west, south, east, north] = boxOf(corners);
  const most = lengthM([west, south], [east, north]) + 1;
  const end = (/** @type {LonLat} */ before, /** @type {LonLat} */ last) => {
    const way = bearingDeg(before, last);
    let at = last;
    for (let metres = 1; within(at, corners) && metres <= most; metres += 1) at = onwards(last, way, metres);
    return at;
  };
  if (line.length < 2) return line;
  return [end(line[1], line[0]), ...line.slice(1, -1), end(line[line.length - 2], line[line.length - 1])];
}

/** GeoJSON (RFC 7946: counter-clockwise, closed, seven decimals are a centimetre). @param {LonLat[]} corners */
export function polygonOf(corners) {
  const frame = frameAt(...middle(corners));
  const flat = corners.map((one) => toMetres(frame, one));
  const twice = flat.reduce((sum, [x, y], i) => sum + x * flat[(i + 1) % flat.length][1] - flat[(i + 1) % flat.length][0] * y, 0);
  const ring = (twice < 0 ? [...corners].reverse() : corners).map(rounded);
  return { type: "Polygon", coordinates: [[...ring, ring[0]]] };
}

/** @param {LonLat[]} points */
export function lineOf(points) {
  return { type: "LineString", coordinates: points.map(rounded) };
}

/** @param {LonLat} at @returns {LonLat} */
function rounded([lon, lat]) {
  return [Number(lon.toFixed(8)), Number(lat.toFixed(8))];
}

/** The corners of a GeoJSON polygon's outer ring, without the closing one. @param {any} geometry @returns {LonLat[]} */
export function cornersOf(geometry) {
  const rings = geometry?.type === "MultiPolygon" ? geometry.coordinates[0] : geometry?.coordinates;
  return (rings?.[0] ?? []).slice(0, -1).map((/** @type {number[]} */ at) => [at[0], at[1]]);
}

/**
 * A place that somebody typed, latitude first as people say it: "33.25 S, 149.1 E" or "-33.25, 149.1".
 * @param {string} typed @returns {LonLat | null} Null when it can't be read; also when what stands first can be no latitude.
 */
export function typedPlace(typed) {
  const found = [...typed.replaceAll("\u2212", "-").matchAll(/(-?\d+(?:[.,]\d+)?)\s*\u00b0?\s*([NSEWnsew])?/g)];
  if (found.length !== 2) return null;
  const values = found.map(([, number, letter]) => {
    const value = Number(number.replace(",", "."));
    return /[sw]/i.test(letter ?? "") ? -Math.abs(value) : value;
  });
  const swapped = /[ew]/i.test(found[0][2] ?? "") || /[ns]/i.test(found[1][2] ?? "");
  const [lat, lon] = swapped ? [values[1], values[0]] : values;
  return Math.abs(lat) <= 90 && Math.abs(lon) <= 180 ? [lon, lat] : null;
}
