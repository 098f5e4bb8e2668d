// @ts-check
/** What taking hold of a row line and dragging it means: the row in the middle turns all rows, any other one spaces them. No DOM: tested by node. */
import { bearingOf } from "./geo.js";

/** @typedef {import("./geo.js").Metres} Metres
 * @typedef {[Metres, Metres]} Row First and last tree [m].
 * @typedef {{kind: "turn", pivot: Metres, from: number, bearing: number} | {kind: "space", through: Metres, along: Metres, from: number, spacing: number}} Hold */

export const LEAST_SPACING_M = 1;
export const MOST_SPACING_M = 50;

/** Which row carries the handle: the one in the middle, so that a turn moves the others least. @param {Row[]} rows @returns {number} -1 when there is none. */
export function middleRow(rows) {
  return rows.length ? Math.floor((rows.length - 1) / 2) : -1;
}

/** @param {Metres} at @param {Row} row @returns {{far: number, share: number}} Distance [m]; how far along, 0 to 1. */
export function near([x, y], [[ax, ay], [bx, by]]) {
  const [dx, dy] = [bx - ax, by - ay];
  const share = Math.max(0, Math.min(1, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1)));
  return { far: Math.hypot(ax + share * dx - x, ay + share * dy - y), share };
}

/** The row under a pointer. @param {Metres} at @param {Row[]} rows @param {number} reach [m] @returns {number} -1 when none is in reach. */
export function rowUnder(at, rows, reach) {
  let best = -1;
  let least = reach;
  rows.forEach((row, i) => {
    const { far } = near(at, row);
    if (far <= least) [best, least] = [i, far];
  });
  return best;
}

/** @param {Metres} at Where it is taken. @param {Row[]} rows @param {number} index @param {{bearing: number, spacing: number}} now @returns {Hold} */
export function hold(at, rows, index, { bearing, spacing }) {
  const mid = middleRow(rows);
  const [a, b] = rows[mid];
  if (index === mid) {
    const { share } = near(at, rows[mid]);
    const pivot = share < 0.5 ? b : a;
    return { kind: "turn", pivot, from: bearingOf(at[0] - pivot[0], at[1] - pivot[1]), bearing };
  }
  const long = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
  const along = /** @type {Metres} */ ([(b[0] - a[0]) / long, (b[1] - a[1]) / long]);
  return { kind: "space", through: a, along, from: across(at, a, along), spacing };
}

/** @param {Metres} at @param {Metres} through @param {Metres} along A unit vector. @returns {number} Signed distance from the line [m]. */
function across([x, y], [ax, ay], [ux, uy]) {
  return ux * (y - ay) - uy * (x - ax);
}

/** What the pointer's new place makes of it. @param {Hold} held @param {Metres} to @returns {{bearing: number} | {spacing: number}} Whole degrees, decimetres. */
export function dragged(held, to) {
  if (held.kind === "turn") {
    const turn = bearingOf(to[0] - held.pivot[0], to[1] - held.pivot[1]) - held.from;
    return { bearing: wholeBearing(held.bearing + turn) };
  }
  const now = across(to, held.through, held.along);
  const share = Math.abs(held.from) < 0.5 ? 1 : now / held.from;
  const spacing = Math.round(held.spacing * share * 10) / 10;
  return { spacing: Math.max(LEAST_SPACING_M, Math.min(MOST_SPACING_M, spacing)) };
}

/** @param {number} bearing @returns {number} 0 to 359 [degrees]. */
export function wholeBearing(bearing) {
  return ((Math.round(bearing) % 360) + 360) % 360;
}
