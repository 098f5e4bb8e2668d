// @ts-check
/** A block drawn anew: its trees keep who they are; those that would be left out are crossed before anything is kept. */
import { el, mount } from "../dom.js";
import { area } from "../format.js";
import { say } from "../words.js";
import { areaHa, cornersOf, polygonOf, within } from "./geo.js";
import { shapeTools } from "./shapetools.js";
import { fitShape } from "./trying.js";

/** @param {import("./sheet.js").Sheet} ground @param {{block: string}} given */
export async function open(ground, { block: id }) {
  const block = ground.state.get("blocks").features.find((/** @type {any} */ one) => one.id === id);
  const own = block.properties;
  const trees = ground.state.get("trees");
  const index = trees?.blocks.indexOf(own.block) ?? -1;
  /** @type {import("./geo.js").LonLat[]} */
  const stand = (trees?.columns.block ?? []).flatMap((/** @type {number} */ b, /** @type {number} */ i) => (b === index ? [[trees.columns.longitude[i], trees.columns.latitude[i]]] : []));
  let corners = cornersOf(block.geometry);
  const told = el("div", { class: "ground-told", role: "status" });
  ground.plan.hide(id);
  await ground.drawing.edit(corners, { change: (now) => {
    corners = now;
    const lost = stand.filter((at) => !within(at, now));
    ground.overlay.set({ edges: { corners: now, closed: true }, lost });
    mount(told, el("p", { class: "ground-count", text: area(areaHa(now)) }), lost.length ? el("p", { class: "questioned", text: say("ground.reshape.lost", { n: lost.length }) }) : null);
  } }, id);
  fitShape(ground, corners, false);
  const keep = () => ground.change(own.version, (version) => ground.api.patch(`blocks/${id}`, { type: "Feature", geometry: polygonOf(corners) }, { ifMatch: version }),
    (/** @type {any} */ answer) => ground.kept([say("ground.reshape.kept", { name: own.block }), ...(answer.said ?? [])].join(" "), () => ground.show("block", { block: id })));
  const element = ground.page(say("ground.reshape.title", { name: own.block }), el("p", { class: "lead", text: say("ground.reshape.lead") }), told, shapeTools(ground),
    el("div", { class: "ground-acts-row" }, el("button", { class: "button main", type: "button", text: say("ground.reshape.keep"), onclick: keep, id: "reshape-keep" }), el("button", { class: "button", type: "button", text: say("ground.not"), onclick: () => ground.show("block", { block: id }) })));
  return { element, title: own.block };
}
