// @ts-check
/** The one key to colour: count across, how well a tree is known down, the threshold as an ink line. */
import { el, mount, style, svg } from "../dom.js";
import { number, percent } from "../format.js";
import { hatchFill } from "../hatch.js";
import { say } from "../words.js";
import { arrowPath, arrowSize } from "./arrows.js";
import { position, tickCounts } from "./ramp.js";

const LEFT = 108;
const EDGE = 24;
const BAR = 22;
const GAP = 5;
const FOOT = 4 + 3 * BAR + 2 * GAP;
/** @type {[string, string][]} */
const LINES = [["well_known", "pressure.wellKnown"], ["doubtful", "pressure.doubtful"], ["unknown", "pressure.unknown"]];

/** @typedef {{ramp: {top_per_beat: number, colours: string[]}, threshold: number | null, counted: string, layer: string}} Shown */

/** A legend that is drawn anew for the room it has: words stay 16 px. @param {Shown} shown @returns {HTMLElement} */
export function drawLegend(shown) {
  const box = el("div", { class: "legend-box" });
  new ResizeObserver(() => {
    const width = Math.min(Math.floor(box.clientWidth), 560);
    if (width > 0 && box.dataset.width !== String(width)) {
      box.dataset.width = String(width);
      mount(box, shown.layer === "change" ? ofChange(width) : ofCounts(shown, width));
    }
  }).observe(box);
  return box;
}

/** @param {number} width @param {number} height @param {string} words */
function frame(width, height, words) {
  return svg("svg", { class: "legend", width, height, viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": `${say("pressure.legend")}: ${words}` });
}

/** @param {Shown} shown @param {number} width */
function ofCounts({ ramp, threshold, counted, layer }, width) {
  const chance = layer === "chance";
  const unit = say(chance ? "pressure.unit.chance" : `pressure.unit.${counted}`);
  const right = width - EDGE;
  const drawing = frame(width, FOOT + 56, unit);
  const stops = ramp.colours.map((colour, i) => {
    const stop = svg("stop", { offset: i / (ramp.colours.length - 1) });
    style(stop, { "stop-color": colour });
    return stop;
  });
  drawing.append(svg("defs", {}, svg("linearGradient", { id: "legend-ramp" }, ...stops)));
  LINES.forEach(([kind, words], line) => {
    const y = 4 + line * (BAR + GAP);
    const bar = (/** @type {string} */ name, /** @type {string} */ fill) => {
      const made = svg("rect", { class: name, x: LEFT, y, width: right - LEFT, height: BAR });
      style(made, { fill });
      drawing.append(made);
    };
    drawing.append(svg("text", { x: LEFT - 10, y: y + 17, "text-anchor": "end", text: say(words) }));
    if (kind !== "unknown") bar(kind === "doubtful" ? "half" : "whole", "url(#legend-ramp)");
    if (kind !== "well_known") bar("hatched", hatchFill(kind));
    bar("legend-frame", "none");
  });
  const ticks = chance ? [0, 0.25, 0.5, 0.75, 1] : tickCounts(ramp.top_per_beat, threshold, (right - LEFT) / 260);
  for (const count of ticks) {
    const x = LEFT + (right - LEFT) * (chance ? count : position(count, ramp.top_per_beat));
    const own = !chance && count === threshold;
    if (own) drawing.append(svg("line", { class: "legend-casing", x1: x, x2: x, y1: 0, y2: FOOT + 8 }));
    drawing.append(svg("line", { class: own ? "legend-threshold" : "legend-tick", x1: x, x2: x, y1: own ? 0 : FOOT + 2, y2: FOOT + 8 }));
    const last = !chance && count === ramp.top_per_beat;
    drawing.append(svg("text", { class: own ? "strong" : "", x, y: FOOT + 26, "text-anchor": "middle", text: chance ? percent(count) : number(count, last && count >= 10 ? 0 : undefined) + (last ? "+" : "") }));
  }
  drawing.append(svg("text", { class: "quiet", x: width, y: FOOT + 49, "text-anchor": "end", text: unit }));
  return drawing;
}

/** Arrows by the ratio of the two counts; hatched where the limits include no change. @param {number} width */
function ofChange(width) {
  const drawing = frame(width, 106, say("pressure.unit.change"));
  const across = (width - LEFT - EDGE) / 4;
  const ratios = [0.25, 0.5, 2, 4];
  drawing.append(svg("text", { x: LEFT - 10, y: 27, "text-anchor": "end", text: say("pressure.clear") }));
  ratios.forEach((ratio, i) => {
    const x = LEFT + (i + 0.5) * across;
    drawing.append(svg("path", { class: "arrow", d: arrowPath(x, 20, arrowSize(Math.log(ratio), 1)) }),
      svg("text", { x, y: 52, "text-anchor": "middle", text: `× ${number(ratio)}` }));
  });
  const bar = svg("rect", { x: LEFT, y: 62, width: width - LEFT - EDGE, height: BAR });
  style(bar, { fill: hatchFill("doubtful") });
  drawing.append(svg("text", { x: LEFT - 10, y: 79, "text-anchor": "end", text: say("pressure.unclear") }), bar,
    svg("rect", { class: "legend-frame", x: LEFT, y: 62, width: width - LEFT - EDGE, height: BAR }),
    svg("text", { class: "quiet", x: width, y: 103, "text-anchor": "end", text: say("pressure.unit.change") }));
  return drawing;
}

/** A swatch cut from the legend. @param {string | null} colour @param {string} kind */
export function swatch(colour, kind) {
  const drawing = svg("svg", { class: "swatch", viewBox: "0 0 20 18", "aria-hidden": "true" });
  const block = (/** @type {string} */ name, /** @type {string} */ fill) => {
    const made = svg("rect", { class: name, x: 0.5, y: 0.5, width: 19, height: 17 });
    style(made, { fill });
    drawing.append(made);
  };
  if (colour && kind !== "unknown") block(kind === "doubtful" ? "half" : "whole", colour);
  if (kind !== "well_known") block("hatched", hatchFill(kind));
  block("legend-frame", "none");
  return drawing;
}
