// @ts-check
/** The sums of the hill profile, free of the page: where a metre upslope and a count stand, which row comes next. */

/** @typedef {{x: (metres: number) => number, y: (count: number) => number, metres: (x: number) => number, left: number, right: number, top: number, foot: number, most: number, from: number, to: number}} Scale */

/**
 * @param {{width: number, height: number, left?: number, right?: number, top?: number, ground?: number}} box Pixels; `ground` is kept free below for the slope.
 * @param {{from: number, to: number}} metres Upslope. @param {number} most Largest count that is drawn.
 * @returns {Scale}
 */
export function makeScale({ width, height, left = 56, right = 16, top = 36, ground = 56 }, { from, to }, most) {
  const span = Math.max(to - from, 1);
  const foot = height - ground;
  const across = Math.max(width - left - right, 1);
  const high = Math.max(most, 1e-9);
  return {
    left, right: left + across, top, foot, most: high, from, to: from + span,
    x: (metres) => left + ((metres - from) / span) * across,
    metres: (x) => from + ((x - left) / across) * span,
    y: (count) => foot - (Math.min(Math.max(count, 0), high) / high) * (foot - top),
  };
}

/** Round steps that are easy to read, about `wanted` of them. @param {number} from @param {number} to @param {number} wanted @returns {number[]} */
export function roundTicks(from, to, wanted) {
  const span = to - from;
  if (!(span > 0)) return [from];
  const rough = span / Math.max(wanted, 1);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((part) => part * power).find((part) => part >= rough) ?? 10 * power;
  const ticks = [];
  for (let tick = Math.ceil(from / step) * step; tick <= to + step * 1e-9; tick += step) ticks.push(Number(tick.toPrecision(12)));
  return ticks;
}

/** Rows in the order of the hill: metres upslope, then block and row. @param {any[]} rows @returns {any[]} */
export function inHillOrder(rows) {
  return rows
    .filter((row) => row.upslope_m !== null && row.upslope_m !== undefined)
    .sort((one, other) => one.upslope_m - other.upslope_m || one.block.localeCompare(other.block) || one.row - other.row);
}

/**
 * The row that a key leads to: left and right go down and up the hill, up and down switch between rows that stand at the same metres.
 * @param {any[]} rows In hill order. @param {number} at Index, -1 for none. @param {string} key @param {number} [near] Metres that count as the same.
 * @returns {number} Index; the same where there is none that way.
 */
export function nextRow(rows, at, key, near = 1.5) {
  if (!rows.length) return -1;
  if (key === "Home") return 0;
  if (key === "End") return rows.length - 1;
  if (at < 0) return key === "ArrowLeft" ? rows.length - 1 : 0;
  if (key === "ArrowRight") return Math.min(at + 1, rows.length - 1);
  if (key === "ArrowLeft") return Math.max(at - 1, 0);
  const same = rows.map((row, i) => ({ row, i })).filter(({ row }) => Math.abs(row.upslope_m - rows[at].upslope_m) <= near);
  const here = same.findIndex(({ i }) => i === at);
  const step = key === "ArrowUp" ? 1 : -1;
  return same[(here + step + same.length) % same.length].i;
}

/** The row nearest to a place. @param {any[]} rows @param {number} metres @param {number} [count] @returns {number} Index, -1 for none. */
export function nearestRow(rows, metres, count) {
  let best = -1;
  let least = Infinity;
  rows.forEach((row, i) => {
    const away = Math.abs(row.upslope_m - metres) + (count === undefined || row.mean_per_beat === null ? 0 : Math.abs(row.mean_per_beat - count) * 0.05);
    if (away < least) [best, least] = [i, away];
  });
  return best;
}
