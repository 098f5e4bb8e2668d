// @ts-check
/** A boundary that is walked: which positions are good enough to be a corner, and what is left when the line is made plain. No DOM: tested by node. */
import { frameAt, lengthM, toMetres } from "./geo.js";

/** @typedef {import("./geo.js").LonLat} LonLat
 * @typedef {{longitude: number, latitude: number, accuracy: number}} Fix Position with its accuracy (95 %) [m], as the W3C Geolocation API gives it.
 * @typedef {"kept" | "poor" | "still"} Verdict */

/** A position told to be worse than this is not taken: rows stand 5 to 8 m apart (common practice, no source). [m] */
export const FAIR_M = 10;
/** Nothing new is set before so much was gone [m]. */
export const STEP_M = 3;

export class Track {
  /** @param {{fairM?: number, stepM?: number}} [how] */
  constructor({ fairM = FAIR_M, stepM = STEP_M } = {}) {
    this.fairM = fairM;
    this.stepM = stepM;
    /** @type {{at: LonLat, corner: boolean, accuracy: number}[]} */
    this.points = [];
    /** @type {Fix | null} */
    this.last = null;
  }

  /** A new position. @param {Fix} fix @returns {Verdict} */
  take(fix) {
    this.last = fix;
    if (!(fix.accuracy <= this.fairM)) return "poor";
    const at = /** @type {LonLat} */ ([fix.longitude, fix.latitude]);
    const before = this.points.at(-1);
    // Standing still, a position wanders within its own accuracy: that is no step.
    if (before && lengthM(before.at, at) < Math.max(this.stepM, fix.accuracy / 2)) return "still";
    this.points.push({ at, corner: this.points.length === 0, accuracy: fix.accuracy });
    return "kept";
  }

  /** The walker stands at a corner: it stays when the line is made plain. @returns {boolean} False when the position is not good enough. */
  corner() {
    if (!this.last || !(this.last.accuracy <= this.fairM)) return false;
    const at = /** @type {LonLat} */ ([this.last.longitude, this.last.latitude]);
    const before = this.points.at(-1);
    if (before && lengthM(before.at, at) < 1) before.corner = true;
    else this.points.push({ at, corner: true, accuracy: this.last.accuracy });
    return true;
  }

  /** Take the last corner back, and what was walked since the one before. @returns {boolean} */
  undoCorner() {
    if (this.points.length < 2) return false;
    this.points.pop();
    while (this.points.length > 1 && !this.points[this.points.length - 1].corner) this.points.pop();
    return true;
  }

  /** @returns {LonLat[]} All that was walked. */
  get line() {
    return this.points.map(({ at }) => at);
  }

  /** How far it is back to the start [m]; null before there is a start. */
  get gapM() {
    const last = this.points.at(-1);
    return this.points.length < 2 || !last ? null : lengthM(this.points[0].at, last.at);
  }

  /** The corners that are left when the line is made plain. @param {number} [within] [m] @returns {LonLat[]} */
  corners(within = 1.5) {
    /** @type {LonLat[]} */
    const left = [];
    let from = 0;
    this.points.forEach(({ corner }, i) => {
      if (i === 0 || (!corner && i < this.points.length - 1)) return;
      left.push(...plainer(this.line.slice(from, i + 1), within).slice(0, -1));
      from = i;
    });
    const last = this.points.at(-1);
    // The end stands where the start does when one has come round.
    if (last && (left.length < 2 || lengthM(last.at, this.points[0].at) > Math.max(this.stepM, within))) left.push(last.at);
    return left;
  }
}

/**
 * A line with fewer points that lies within a distance of the old one (Douglas and Peucker 1973, doi:10.3138/FM57-6770-U75U-7727).
 * @param {LonLat[]} line @param {number} within [m] @returns {LonLat[]}
 */
export function plainer(line, within) {
  if (line.length < 3) return line;
  const frame = frameAt(...line[0]);
  const flat = line.map((at) => toMetres(frame, at));
  const keep = new Set([0, line.length - 1]);
  /** @type {[number, number][]} */
  const open = [[0, line.length - 1]];
  for (let stretch = open.pop(); stretch; stretch = open.pop()) {
    const [from, to] = stretch;
    const [ax, ay] = flat[from];
    const [dx, dy] = [flat[to][0] - ax, flat[to][1] - ay];
    const long = Math.hypot(dx, dy);
    let best = -1;
    let most = within;
    for (let i = from + 1; i < to; i += 1) {
      const [x, y] = [flat[i][0] - ax, flat[i][1] - ay];
      const far = long ? Math.abs(dx * y - dy * x) / long : Math.hypot(x, y);
      if (far > most) [best, most] = [i, far];
    }
    if (best < 0) continue;
    keep.add(best);
    open.push([from, best], [best, to]);
  }
  return line.filter((_at, i) => keep.has(i));
}
