// @ts-check
/** The colour of a count: the ramp's place is the square root of count over top, so that the threshold is always at the same place. */

/** @typedef {{top_per_beat: number, colours: string[]}} Ramp */

/** @param {number} count @param {number} top @returns {number} 0 to 1. */
export function position(count, top) {
  if (!(top > 0)) return 0;
  return Math.sqrt(Math.min(Math.max(count / top, 0), 1));
}

/** @param {string} colour "#rrggbb" @returns {number[]} Red, green, blue. */
function parts(colour) {
  return [1, 3, 5].map((at) => Number.parseInt(colour.slice(at, at + 2), 16));
}

/** A colour between the ramp's stops. @param {number} share 0 to 1. @param {string[]} colours @returns {string} "rgb(r, g, b)" */
export function between(share, colours) {
  // In 256 steps: no eye tells them apart, and the map has few colours to change between.
  const place = (Math.round(Math.min(Math.max(share, 0), 1) * 255) / 255) * (colours.length - 1);
  const low = Math.min(Math.floor(place), colours.length - 2);
  const from = parts(colours[low]);
  const to = parts(colours[low + 1]);
  return `rgb(${from.map((value, i) => Math.round(value + (to[i] - value) * (place - low))).join(", ")})`;
}

/** @param {number | null} count @param {Ramp} ramp @returns {string | null} Null where there is no count. */
export function colourOf(count, ramp) {
  return count === null || count === undefined ? null : between(position(count, ramp.top_per_beat), ramp.colours);
}

/**
 * The counts that a legend names: 0, round ones, the threshold, the top, far enough apart to be read.
 * @param {number} top @param {number | null} threshold @param {number} [room] How wide the legend is, 1 for the usual one. @returns {number[]}
 */
export function tickCounts(top, threshold, room = 1) {
  const chosen = threshold === null || threshold === undefined ? [0, top] : [0, threshold, top];
  const power = Math.floor(Math.log10(top));
  for (const exponent of [power, power - 1, power - 2]) {
    // Finer counts only where the round ones leave the legend nearly empty.
    if (chosen.length > 3) break;
    for (const step of [8, 5, 2, 1]) {
      const count = Number((step * 10 ** exponent).toPrecision(6));
      const here = position(count, top);
      if (here > 0.2 && here < 1 && chosen.every((other) => Math.abs(here - position(other, top)) > 0.12 / room)) chosen.push(count);
    }
  }
  return chosen.sort((one, other) => one - other);
}
