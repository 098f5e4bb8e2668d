// @ts-check
/** Change since the walk before: an arrow up or down, as long as the ratio of the two counts is large. */

const LONGEST_PX = 30;
const SHORTEST_PX = 9;

/** Signed length: twice the count is half as long as four times the count. @param {number} logRatio Natural log of now over then. @param {number} room Share of the full size, 0 to 1. @returns {number} Pixels, up is positive. */
export function arrowSize(logRatio, room) {
  if (!Number.isFinite(logRatio) || logRatio === 0) return 0;
  const share = Math.min(Math.abs(logRatio) / Math.log(4), 1);
  return Math.sign(logRatio) * Math.max(SHORTEST_PX * room, LONGEST_PX * room * share);
}

/** An arrow around a point, as an SVG path that a canvas reads too. @param {number} x @param {number} y @param {number} size */
export function arrowPath(x, y, size) {
  const half = size / 2;
  const wing = Math.min(Math.abs(size) * 0.36, 7);
  const back = Math.sign(size) * wing;
  const at = (/** @type {number} */ px, /** @type {number} */ py) => `${px.toFixed(1)} ${py.toFixed(1)}`;
  return `M${at(x, y + half)}L${at(x, y - half)}M${at(x - wing, y - half + back)}L${at(x, y - half)}L${at(x + wing, y - half + back)}`;
}
