// @ts-check
/** The one key to colour: count across, how well a tree is known down, the threshold as an ink line. */
import { svg } from "../dom.js";
import { number, percent } from "../format.js";
import { say } from "../words.js";
import { between, position, tickCounts } from "./ramp.js";

const WIDTH = 400;
const LEFT = 104;
const RIGHT = 384;
const BAR = 22;
const GAP = 5;
const STEPS = 40;
/** @type {[string, string][]} */
const LINES = [["well_known", "pressure.wellKnown"], ["doubtful", "pressure.doubtful"], ["unknown", "pressure.unknown"]];

/** The hatches, in screen units; the same two everywhere. @param {string} prefix Keeps the names of two drawings apart. */
export function hatches(prefix) {
  const hatch = (/** @type {string} */ name, /** @type {number} */ every, /** @type {number} */ width) =>
    svg("pattern", { id: `${prefix}-${name}`, width: every, height: every, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
      svg("line", { class: "hatch-line", x1: 0, y1: 0, x2: 0, y2: every, "stroke-width": width }));
  return svg("defs", {}, hatch("doubtful", 9, 1.2), hatch("unknown", 6, 1.5));
}

/**
 * @param {{ramp: {top_per_beat: number, colours: string[]}, threshold: number | null, counted: string, chance: boolean}} shown
 * @returns {SVGElement}
 */
export function drawLegend({ ramp, threshold, counted, chance }) {
  const unit = say(chance ? "pressure.unit.chance" : `pressure.unit.${counted}`);
  const foot = 3 * BAR + 2 * GAP + 4;
  const drawing = svg("svg", { class: "legend", viewBox: `0 0 ${WIDTH} ${foot + 62}`, role: "img", "aria-label": `${say("pressure.legend")}: ${unit}` }, hatches("legend"));
  LINES.forEach(([kind, words], line) => {
    const y = 4 + line * (BAR + GAP);
    drawing.append(svg("text", { x: LEFT - 10, y: y + 16, "text-anchor": "end", text: say(words) }));
    if (kind !== "unknown") {
      for (let step = 0; step < STEPS; step += 1) {
        const x = LEFT + ((RIGHT - LEFT) * step) / STEPS;
        const wide = (RIGHT - LEFT) / STEPS + (step < STEPS - 1 ? 0.6 : 0);
        const block = svg("rect", { x, y, width: wide, height: BAR, class: kind === "doubtful" ? "half" : "whole" });
        block.style.setProperty("fill", between((step + 0.5) / STEPS, ramp.colours));
        drawing.append(block);
      }
    }
    const fill = svg("rect", { x: LEFT, y, width: RIGHT - LEFT, height: BAR, class: "legend-frame" });
    fill.setAttribute("fill", kind === "well_known" ? "none" : `url(#legend-${kind})`);
    drawing.append(fill);
  });
  const ticks = chance ? [0, 0.25, 0.5, 0.75, 1] : tickCounts(ramp.top_per_beat, threshold);
  for (const count of ticks) {
    const x = LEFT + (RIGHT - LEFT) * (chance ? count : position(count, ramp.top_per_beat));
    const own = !chance && count === threshold;
    if (own) drawing.append(svg("line", { class: "legend-casing", x1: x, x2: x, y1: 0, y2: foot + 8 }));
    drawing.append(svg("line", { class: own ? "legend-threshold" : "legend-tick", x1: x, x2: x, y1: own ? 0 : foot + 2, y2: foot + 8 }));
    const last = !chance && count === ramp.top_per_beat;
    drawing.append(svg("text", { class: own ? "strong" : "", x, y: foot + 26, "text-anchor": "middle", text: chance ? percent(count) : number(count) + (last ? "+" : "") }));
  }
  drawing.append(svg("text", { class: "quiet", x: RIGHT, y: foot + 50, "text-anchor": "end", text: unit }));
  return drawing;
}

/** A swatch cut from the legend. @param {string | null} colour @param {string} kind */
export function swatch(colour, kind) {
  const drawing = svg("svg", { class: "swatch", viewBox: "0 0 20 18", "aria-hidden": "true" }, hatches(`swatch-${kind}`));
  const block = svg("rect", { x: 0.5, y: 0.5, width: 19, height: 17, class: "legend-frame" });
  if (colour) block.style.setProperty("fill", colour);
  drawing.append(block);
  if (kind !== "well_known") drawing.append(svg("rect", { x: 0, y: 0, width: 20, height: 18, fill: `url(#swatch-${kind}-${kind})` }));
  return drawing;
}
