// @ts-check
/** Corners of a drawn shape by button: choose one, move it, add one, take one out; or move the whole shape. */
import { el } from "../dom.js";
import { say } from "../words.js";
import { button, segments } from "./fields.js";

/** @param {import("./sheet.js").Sheet} ground */
export function shapeTools(ground) {
  const { drawing } = ground;
  const { keys } = drawing;
  const on = (/** @type {() => void} */ act) => () => { if (drawing.mode === "edit") act(); };
  const corners = el("div", { class: "buttons" },
    button(say("ground.shape.next"), on(() => keys.choose((keys.chosen + 1) % drawing.corners.length)), "", { id: "corner-next" }),
    button(say("ground.shape.add"), on(() => keys.addCorner()), "", { id: "corner-add" }),
    button(say("ground.shape.remove"), on(() => keys.removeCorner()), "", { id: "corner-remove" }));
  const arrows = el("div", { class: "ground-arrows", role: "group", "aria-label": say("ground.shape.nudge") }, ...[["ArrowLeft", "west"], ["ArrowUp", "north"], ["ArrowDown", "south"], ["ArrowRight", "east"]].map(([key, words]) =>
    button(say(`ground.shape.${words}`), on(() => keys.editKey(key, 1)), "", { "aria-label": say("ground.shape.by", { way: say(`ground.shape.${words}`) }) })));
  return el("details", { class: "ground-shape-tools" }, el("summary", { text: say("ground.shape.title") }), el("div", { class: "ground-form" },
    segments("shape-mode", say("ground.shape.mode"), [["corners", say("ground.shape.corners")], ["whole", say("ground.shape.whole")]], "corners", (value) => { drawing.whole(value === "whole"); corners.hidden = value === "whole"; }),
    corners, arrows, el("p", { class: "quiet", text: say("ground.shape.keys") })));
}
