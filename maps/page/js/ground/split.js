// @ts-check
/** A block cut in two along a drawn line: what each part is called. */
import { el } from "../dom.js";
import { say } from "../words.js";
import { field } from "./fields.js";
import { carriedOut, cornersOf, frameAt, lineOf, toDegrees, toMetres } from "./geo.js";
import { fitShape } from "./trying.js";

/** @param {import("./sheet.js").Sheet} ground @param {{block: any, line: import("./geo.js").LonLat[]}} given */
export function open(ground, { block, line: drawn }) {
  const own = block.properties;
  const line = carriedOut(drawn, cornersOf(block.geometry));
  ground.overlay.set({ lines: [line], points: beside(line) });
  fitShape(ground, cornersOf(block.geometry), false);
  const names = ["A", "B"].map((letter) => field({ id: `split-${letter}`, label: say("ground.split.name", { part: letter }), value: `${own.block} ${letter}`, maxlength: 100 }));
  const form = el("form", { class: "ground-form", novalidate: true, onsubmit: (/** @type {Event} */ event) => {
    event.preventDefault();
    const parts = names.map(({ input }) => ({ name: input.value.trim() }));
    if (parts.some(({ name }) => !name)) return ground.ctx.fail(new Error(say("ground.split.lack")));
    return ground.change(own.version, (version) => ground.api.post(`blocks/${block.id}/split`, { line: lineOf(line), parts }, { ifMatch: version }), (/** @type {any} */ answer) => ground.kept((answer.notes ?? [])[0] ?? say("ground.split.done", { name: own.block })));
  } }, ...names.map(({ row }) => row), el("p", { class: "quiet", text: say("ground.split.keep") }), el("p", { class: "buttons" }, el("button", { class: "button main", type: "submit", text: say("ground.split.go"), id: "split-go" }),
    el("button", { class: "button", type: "button", text: say("ground.split.again"), onclick: () => ground.show("draw", { purpose: "split", block }) }), ground.back()));
  return { element: ground.page(say("ground.split.title", { name: own.block }), form), title: own.block, focus: names[0].input, leave: () => ground.overlay.set({ points: ground.points() }) };
}

/** Letters on both sides of the line's middle: A on its left as it was drawn. @param {import("./geo.js").LonLat[]} line */
function beside(line) {
  const i = Math.floor((line.length - 1) / 2);
  const frame = frameAt(...line[i]);
  const [ax, ay] = toMetres(frame, line[i]);
  const [bx, by] = toMetres(frame, line[i + 1]);
  const long = Math.hypot(bx - ax, by - ay) || 1;
  const side = (/** @type {number} */ sign) => toDegrees(frame, [(ax + bx) / 2 - (sign * 6 * (by - ay)) / long, (ay + by) / 2 + (sign * 6 * (bx - ax)) / long]);
  return [{ at: side(1), name: "A", letter: true }, { at: side(-1), name: "B", letter: true }];
}
