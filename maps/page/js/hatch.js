// @ts-check
/** Doubt has one look everywhere: the hatches of drawings, in screen units, made once for the whole page. */
import { svg } from "./dom.js";

/** Lines falling to the right at 45 degrees: every so many px, so many px wide. @type {Record<string, [number, number]>} */
const LINES = { doubtful: [9, 1.2], unknown: [6, 1.5] };

/** What to fill a shape with. @param {"doubtful" | "unknown" | string} name @returns {string} */
export function hatchFill(name) {
  if (!document.getElementById("hatches")) {
    document.body.append(svg("svg", { id: "hatches", class: "hatches", width: 0, height: 0, "aria-hidden": "true" }, svg("defs", {}, ...Object.entries(LINES).map(([kind, [every, width]]) =>
      svg("pattern", { id: `hatch-${kind}`, width: every, height: every, patternUnits: "userSpaceOnUse", patternTransform: "rotate(-45)" },
        svg("line", { class: "hatch-line", x1: every / 2, y1: 0, x2: every / 2, y2: every, "stroke-width": width }))))));
  }
  return `url(#hatch-${name})`;
}
