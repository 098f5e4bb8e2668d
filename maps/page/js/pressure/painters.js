// @ts-check
/** How each layer of the map colours a tree. Unknown trees get no colour; doubt is always the same hatch. */
import { between, colourOf } from "./ramp.js";

/** @typedef {{fill: string | null, hatch: "none" | "doubtful" | "unknown"}} Paint */
/** @typedef {(i: number) => Paint} Painter */

/** @type {Record<string, Paint["hatch"]>} */
const HATCH = { well_known: "none", doubtful: "doubtful", unknown: "unknown" };

/** @param {any} pressure GET …/pressure @param {number} i @returns {Paint["hatch"]} */
function hatchOf(pressure, i) {
  return HATCH[pressure.columns.knowledge[i]] ?? "unknown";
}

/** Count to expect: the median, as the words tell it. @param {any} pressure @param {import("./ramp.js").Ramp} ramp @returns {Painter} */
export function expectedPainter(pressure, ramp) {
  const { median_per_beat: median } = pressure.columns;
  return (i) => {
    const hatch = hatchOf(pressure, i);
    return { fill: hatch === "unknown" ? null : colourOf(median[i], ramp), hatch };
  };
}

/** Chance over the threshold, 0 to 1 along the ramp. @param {any} pressure @param {string[]} colours @returns {Painter} */
export function chancePainter(pressure, colours) {
  const { chance_over: chance } = pressure.columns;
  return (i) => {
    const hatch = hatchOf(pressure, i);
    return { fill: hatch === "unknown" || chance[i] === null ? null : between(chance[i], colours), hatch };
  };
}

/** Where there is no walk: every tree is unknown. @returns {Painter} */
export function unknownPainter() {
  return () => ({ fill: null, hatch: "unknown" });
}

/** In Ground and Treat trees are only places: no colour, no hatch. @returns {Painter} */
export function plainPainter() {
  return () => ({ fill: null, hatch: "none" });
}
