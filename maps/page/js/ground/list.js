// @ts-check
/** The ground as it is: blocks, keep-outs, points, uphill, what was done and can be taken back. */
import { el, mount } from "../dom.js";
import { area, number, withUnit } from "../format.js";
import { say } from "../words.js";
import { button } from "./fields.js";
import { groveForm } from "./groveform.js";
import { undoBar } from "./undo.js";

/** @param {import("./sheet.js").Sheet} ground */
export async function open(ground) {
  const { state } = ground;
  const grove = state.get("grove");
  const blocks = state.get("blocks")?.features ?? [];
  const keepOuts = state.get("keepOuts")?.features ?? [];
  const may = ground.mayEdit;
  const undo = undoBar(ground);
  const trees = blocks.reduce((/** @type {number} */ sum, /** @type {any} */ one) => sum + (one.properties.trees ?? 0), 0);
  const hectares = blocks.reduce((/** @type {number} */ sum, /** @type {any} */ one) => sum + (one.properties.area_ha ?? 0), 0);
  const points = el("div", { class: "ground-points" });
  const bare = blocks.filter((/** @type {any} */ one) => !one.properties.trees);
  const title = say("ground.list.title", { n: blocks.length, trees: say("ground.list.trees", { n: trees }) });
  const adding = may && el("div", { class: "ground-add" }, button(say("ground.list.draw"), () => ground.show("draw", { purpose: "block" }), "main", { id: "add-draw" }),
    button(say("ground.list.walk"), () => ground.show("walk"), "", { id: "add-walk" }), button(say("ground.first.bring"), () => ground.bring(), "", { id: "add-bring" }));
  const element = ground.page(title, el("p", { class: "quiet", text: say("ground.list.area", { ha: area(hectares) }) }),
    bare.length ? el("p", { class: "questioned" }, say("ground.list.bare", { names: bare.map((/** @type {any} */ one) => one.properties.block).join(", ") })) : null,
    may ? undo.bar : null, blockTable(ground, blocks), adding || null,
    el("section", { class: "ground-section" }, el("h2", { text: say("ground.list.keepOuts") }), keepOutTable(ground, keepOuts), may && el("p", {}, button(say("ground.list.drawKeepOut"), () => ground.show("draw", { purpose: "keepout" }), "", { id: "add-keep-out" }))),
    el("section", { class: "ground-section" }, el("h2", { text: say("ground.list.uphill") }), el("p", { text: uphillWords(grove, blocks) }), may && el("p", {}, button(say("ground.list.setUphill"), () => ground.show("uphill"), "", { id: "set-uphill" }))),
    points,
    el("details", {}, el("summary", { text: say("ground.list.grove") }), may ? groveForm(ground) : el("p", { text: grove?.region ?? "" })),
    el("details", {}, el("summary", { text: say("ground.list.history") }), undo.list));
  undo.read().catch(() => undefined);
  ground.readPoints().then((/** @type {any} */ known) => { if (known) mount(points, pointSection(ground, may)); }).catch(() => undefined);
  return { element, title: say("place.ground") };
}

/** @param {any} ground @param {any[]} blocks */
function blockTable(ground, blocks) {
  if (!blocks.length) return el("div", { class: "empty" }, el("p", { text: say("ground.list.noBlock") }));
  const sloped = blocks.some((one) => one.properties.ground_area_ha !== null && one.properties.ground_area_ha !== undefined);
  const head = ["block", "rows", "trees", "map", ...(sloped ? ["ground"] : [])].map((key) => say(`ground.table.${key}`));
  const row = (/** @type {any} */ one) => {
    const own = one.properties;
    const chosen = () => ground.show("block", { block: one.id });
    const cells = [number(own.rows), number(own.trees), area(own.area_ha), ...(sloped ? [area(own.ground_area_ha)] : [])];
    return el("tr", { onpointerenter: () => ground.state.preview({ block: own.block }), onpointerleave: () => ground.state.preview(null) }, el("th", { scope: "row" }, el("button", { class: "name", type: "button", text: own.block, onclick: chosen, data: { block: one.id } })),
      ...cells.map((text, i) => el("td", { text, data: { label: head[i + 1] } })));
  };
  return el("table", { class: "lines ground-blocks" }, el("caption", { class: "unseen", text: say("ground.table.caption") }), el("thead", {}, el("tr", {}, ...head.map((text) => el("th", { scope: "col", text })))), el("tbody", {}, ...blocks.map(row)));
}

/** @param {any} ground @param {any[]} keepOuts */
function keepOutTable(ground, keepOuts) {
  if (!keepOuts.length) return el("p", { class: "quiet", text: say("ground.list.noKeepOut") });
  const head = ["keepOut", "kind", "setback"].map((key) => say(`ground.table.${key}`));
  return el("table", { class: "lines ground-keep-outs" }, el("thead", {}, el("tr", {}, ...head.map((text) => el("th", { scope: "col", text })))), el("tbody", {}, ...keepOuts.map((one) => {
    const own = one.properties;
    const named = own.name || say(`ground.keepOut.${own.kind}`);
    return el("tr", {}, el("th", { scope: "row" }, ground.mayEdit ? el("button", { class: "name", type: "button", text: named, onclick: () => ground.show("keepout", { keepOut: one }) }) : named),
      el("td", { text: say(`ground.keepOut.${own.kind}`), data: { label: head[1] } }), el("td", { text: withUnit(own.setback_m, say("plan.metres")), data: { label: head[2] } }));
  })));
}

/** @param {any} grove @param {any[]} blocks */
function uphillWords(grove, blocks) {
  const bearing = grove?.uphill_bearing_deg;
  if (bearing !== null && bearing !== undefined) return say("ground.list.uphillIs", { deg: number(bearing, 0) });
  const own = blocks.filter((one) => one.properties.uphill_bearing_deg !== null && one.properties.uphill_bearing_deg !== undefined).length;
  return own ? say("ground.list.uphillBlocks", { n: own }) : say("ground.list.uphillNot");
}

/** @param {any} ground @param {boolean} may */
function pointSection(ground, may) {
  const features = ground.pointFeatures ?? [];
  return el("section", { class: "ground-section" }, el("h2", { text: say("ground.list.points") }), features.length ? el("ul", { class: "ground-said" }, ...features.map((/** @type {any} */ one) => el("li", { text: one.properties.name ? `${one.properties.name}: ${say(`ground.point.${one.properties.kind}`)}` : say(`ground.point.${one.properties.kind}`) }))) : el("p", { class: "quiet", text: say("ground.list.noPoint") }),
    may && el("p", {}, button(say("ground.list.addPoint"), () => ground.show("point"), "", { id: "add-point" })));
}
