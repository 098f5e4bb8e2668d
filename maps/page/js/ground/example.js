// @ts-check
/** The example on the map of the first screen: what a drawn block looks like, in three steps. It goes as soon as one starts. */
import { el, svg } from "../dom.js";
import { say } from "../words.js";

const CORNERS = [[215, 302], [368, 226], [540, 214], [688, 258], [744, 371], [694, 478], [461, 447], [228, 472]];
/** Where each row of the example begins and ends: rows run 4 degrees south of east. */
const ROWS = [[392, 238, 603], [346, 257, 678], [300, 276, 694], [270, 295, 704], [238, 315, 706], [237, 335, 718], [238, 356, 722], [235, 377, 703], [248, 398, 698], [249, 419, 685], [246, 441, 340]];
const FALL = Math.tan((3 * Math.PI) / 180);

/** @returns {HTMLElement} */
export function example() {
  const rows = ROWS.map(([x, y, to], i) => {
    const foot = y + (to - x) * FALL;
    const dots = [];
    for (let at = x; at <= to; at += 15) dots.push(svg("circle", { cx: at, cy: y + (at - x) * FALL, r: 2.6 }));
    return svg("g", { class: i === 6 ? "chosen" : "" }, svg("line", { x1: x, y1: y, x2: to, y2: foot }), ...dots);
  });
  const corners = CORNERS.map(([x, y]) => svg("rect", { x: x - 6, y: y - 6, width: 12, height: 12 }));
  const narrow = matchMedia("(max-width: 759.98px)").matches;
  const drawing = svg("svg", { viewBox: narrow ? "196 118 570 384" : "0 100 900 480", class: "example-drawing", preserveAspectRatio: "xMidYMid meet", "aria-hidden": "true" },
    svg("polygon", { points: CORNERS.map((at) => at.join(",")).join(" "), class: "example-outline" }), svg("g", { class: "example-rows" }, ...rows), svg("g", { class: "example-corners" }, ...corners),
    svg("circle", { cx: 238, cy: 356, r: 10, class: "example-ring" }), svg("path", { d: "M566 196 L575 140 M560 153 L575 138 L586 156 M553 194 L580 198", class: "example-arrow" }),
    svg("g", { class: "example-words" }, ...step(3, 608, 168, "up"), ...step(2, 36, 428, "row"), ...step(1, 330, 522, "corner"), svg("line", { x1: 177, y1: 408, x2: 226, y2: 366 })));
  return el("div", { class: "example" }, drawing, el("p", { class: "example-said", text: say("ground.example.said") }));
}

/** @param {number} n @param {number} x @param {number} y @param {string} key */
function step(n, x, y, key) {
  const touch = matchMedia("(pointer: coarse)").matches && key === "corner" ? "Touch" : "";
  return [svg("circle", { cx: x - 8, cy: y, r: 15, class: "disc" }), svg("text", { x: x - 8, y: y + 6, class: "number" }, String(n)), svg("text", { x: x + 16, y: y - 2, class: "strong" }, say(`ground.example.${key}${touch}`)), svg("text", { x: x + 16, y: y + 19, class: "quiet" }, say(`ground.example.${key}More`))];
}
