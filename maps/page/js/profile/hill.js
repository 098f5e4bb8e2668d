// @ts-check
/** The ground line below the counts: the trees' own heights above sea where they are known, else a plain rise. */

const BIN_PX = 24;

/**
 * @param {{upslope_m?: (number | null)[], elevation_m?: (number | null)[]}} columns Of the trees. @param {import("./scale.js").Scale} scale
 * @param {{top: number, foot: number}} room Pixels.
 * @returns {{path: string, y: (metres: number) => number}}
 */
export function hillLine({ upslope_m: upslope = [], elevation_m: elevation = [] }, scale, { top, foot }) {
  const bins = Math.max(2, Math.round((scale.right - scale.left) / BIN_PX));
  const sums = Array.from({ length: bins + 1 }, () => ({ sum: 0, n: 0 }));
  upslope.forEach((metres, i) => {
    const height = elevation[i];
    if (metres === null || height === null || height === undefined) return;
    const at = sums[Math.round(((metres - scale.from) / (scale.to - scale.from)) * bins)];
    if (at) Object.assign(at, { sum: at.sum + height, n: at.n + 1 });
  });
  /** @type {[number, number][]} Share of the way, height. */
  const known = sums.flatMap(({ sum, n }, i) => (n ? [/** @type {[number, number]} */ ([i / bins, sum / n])] : []));
  const points = known.length > 2 ? known : [/** @type {[number, number]} */ ([0, 0]), /** @type {[number, number]} */ ([1, 1])];
  const heights = points.map(([, height]) => height);
  const [low, high] = [Math.min(...heights), Math.max(...heights)];
  const level = (/** @type {number} */ height) => foot - ((height - low) / (high - low || 1)) * (foot - top);
  const y = (/** @type {number} */ metres) => {
    const share = Math.min(Math.max((metres - scale.from) / (scale.to - scale.from), 0), 1);
    const k = points.findIndex(([at]) => at >= share);
    if (k <= 0) return level((k === 0 ? points[0] : points[points.length - 1])[1]);
    const [[a, one], [b, other]] = [points[k - 1], points[k]];
    return level(one + ((share - a) / (b - a || 1)) * (other - one));
  };
  const steps = Array.from({ length: bins + 1 }, (_none, i) => scale.from + (i / bins) * (scale.to - scale.from));
  return { path: `M${steps.map((metres) => `${scale.x(metres).toFixed(1)} ${y(metres).toFixed(1)}`).join("L")}`, y };
}
