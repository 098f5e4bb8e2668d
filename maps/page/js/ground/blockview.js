// @ts-check
/** One block: what is known of it, and what can be done with it. */
import { el } from "../dom.js";
import { area, number, typedNumber, withUnit } from "../format.js";
import { say } from "../words.js";
import { lay } from "./blocknew.js";
import { button, field } from "./fields.js";
import { cornersOf } from "./geo.js";
import { Trying, factsFor, fitShape } from "./trying.js";

/** Facts that may be typed at any time. @type {[string, string, string][]} */
const FACTS = [["row_bearing_deg", "\u00b0", "bearing"], ["row_spacing_m", "m", "spacing"], ["tree_spacing_m", "m", "trees"], ["headland_m", "m", "headland"], ["uphill_bearing_deg", "\u00b0", "uphill"], ["canopy_height_m", "m", "canopyHeight"], ["canopy_width_m", "m", "canopyWidth"]];

/** @param {import("./sheet.js").Sheet} ground @param {{block: string, line?: any, facts?: any}} given The block's uuid. */
export async function open(ground, { block: id, line = null, facts = null }) {
  const block = (ground.state.get("blocks")?.features ?? []).find((/** @type {any} */ one) => one.id === id);
  if (!block) return { element: ground.page(say("ground.block.gone"), ground.back()), title: say("place.ground") };
  const own = block.properties;
  ground.state.choose({ block: own.block });
  const corners = cornersOf(block.geometry);
  const may = ground.mayEdit;
  const empty = !own.trees;
  const trying = empty && may ? new Trying(ground, corners, facts ?? factsFor(ground, corners, own), line) : null;
  fitShape(ground, corners);
  const told = [own.trees ? say("ground.block.told", { n: own.trees, rows: number(own.rows), ha: area(own.area_ha) }) : say("ground.block.toldEmpty", { ha: area(own.area_ha) }), own.ground_area_ha ? say("ground.block.groundArea", { ha: area(own.ground_area_ha) }) : ""].filter(Boolean);
  const tools = may && el("div", { class: "ground-tools" },
    button(say("ground.block.reshape"), () => ground.show("reshape", { block: id }), "", { id: "block-reshape" }),
    button(say("ground.block.split"), () => ground.show("draw", { purpose: "split", block }), "", { id: "block-split" }),
    button(say("ground.block.merge"), () => merging(ground, block, host), "", { id: "block-merge" }),
    button(say("ground.block.bringSurvey"), () => ground.show("bring", { kind: "survey", block: own.block })),
    button(say("ground.block.remove"), () => removing(ground, block, host), "", { id: "block-remove" }));
  const host = el("div", { class: "ground-asked" });
  const layForm = trying && el("form", { class: "ground-form", novalidate: true, onsubmit: async (/** @type {Event} */ event) => {
    event.preventDefault();
    const lacks = trying.lacks();
    if (lacks.length) return ground.ctx.fail(new Error(say("ground.block.lacks", { what: lacks.join(", ") })));
    return ground.change(own.version, (version) => lay(ground, { id, properties: { version } }, trying), (/** @type {any} */ laid) => ground.kept(say("ground.block.kept", { name: own.block, n: laid.trees, rows: number(laid.rows) })));
  } }, el("h2", { text: say("ground.rows.title") }), trying.element,
  el("p", { class: "buttons" }, el("button", { class: "button main", type: "submit", text: say("ground.rows.lay"), id: "rows-lay" }),
    line ? button(say("ground.rows.straight"), () => ground.show("block", { block: id, facts: trying.facts })) : button(say("ground.rows.follow"), () => ground.show("draw", { purpose: "line", back: { view: "block", given: { block: id, facts: trying.facts } } }), "", { id: "rows-follow" })));
  const element = ground.page(own.block, ...told.map((words) => el("p", { class: "lead", text: words })), layForm || null, may ? factForm(ground, block, empty) : factList(own), tools || null, host, el("p", {}, ground.back()));
  return { element, title: own.block, leave: () => { trying?.stop(); ground.state.choose(null); } };
}

/** @param {any} own */
function factList(own) {
  return el("dl", { class: "ground-readout" }, ...FACTS.map(([name, unit, words]) => el("div", {}, el("dt", { text: say(`ground.rows.${words}`) }), el("dd", { text: withUnit(own[name], unit) }))));
}

/** @param {any} ground @param {any} block @param {boolean} empty While rows are tried out, their facts stand there. */
function factForm(ground, block, empty) {
  const own = block.properties;
  const name = field({ id: "block-name", label: say("ground.block.name"), value: own.block, maxlength: 100 });
  const fields = FACTS.filter(([fact]) => !empty || fact.startsWith("canopy")).map(([fact, unit, words]) => ({ fact, ...field({ id: `fact-${fact}`, label: say(`ground.rows.${words}`), value: own[fact] === null || own[fact] === undefined ? "" : number(own[fact]), unit, inputmode: "decimal" }) }));
  return el("details", { open: false, class: "ground-facts" }, el("summary", { text: say("ground.block.facts") }), el("form", { class: "ground-form", novalidate: true, onsubmit: (/** @type {Event} */ event) => {
    event.preventDefault();
    /** @type {Record<string, any>} */
    const changed = {};
    if (name.input.value.trim() && name.input.value.trim() !== own.block) changed.block = name.input.value.trim();
    for (const { fact, input } of fields) {
      const value = input.value.trim() === "" ? null : typedNumber(input.value);
      input.toggleAttribute("aria-invalid", value === null && input.value.trim() !== "");
      if (input.hasAttribute("aria-invalid")) return ground.ctx.fail(new Error(say("ground.numberWanted")));
      if (number(value) !== number(own[fact])) changed[fact] = value;
    }
    if (!Object.keys(changed).length) return ground.ctx.fail(new Error(say("ground.block.nothingChanged")));
    return ground.change(own.version, (/** @type {string} */ version) => ground.api.patch(`blocks/${block.id}`, { type: "Feature", properties: changed }, { ifMatch: version }), () => ground.kept(say("ground.block.changed", { name: changed.block ?? own.block })));
  } }, name.row, el("div", { class: "ground-two" }, ...fields.map(({ row }) => row)), own.trees ? el("p", { class: "quiet", text: say("ground.block.factsKeepTrees") }) : null, el("p", {}, el("button", { class: "button", type: "submit", text: say("ground.block.keepFacts"), id: "facts-keep" }))));
}

/** Asks once; undo brings it back. @param {any} ground @param {any} block @param {HTMLElement} host */
function removing(ground, block, host) {
  const yes = button(say("ground.block.removeYes"), () => ground.change(block.properties.version, (/** @type {string} */ version) => ground.api.del(`blocks/${block.id}`, { ifMatch: version }), (/** @type {any} */ answer) => ground.kept(answer.said?.[0] ?? say("ground.block.removed"))), "", { id: "block-remove-yes" });
  asked(host, say(block.properties.trees ? "ground.block.removeTrees" : "ground.block.removeAsk", { name: block.properties.block, n: block.properties.trees }), block.properties.trees ? [] : [yes]);
}

/** @param {any} ground @param {any} block @param {HTMLElement} host */
function merging(ground, block, host) {
  const others = ground.state.get("blocks").features.filter((/** @type {any} */ one) => one.id !== block.id);
  if (!others.length) return asked(host, say("ground.merge.alone"), []);
  const pick = field({ id: "merge-with", label: say("ground.merge.with"), options: others.map((/** @type {any} */ one) => [one.id, one.properties.block]), value: others[0].id });
  const name = field({ id: "merge-name", label: say("ground.merge.name"), value: block.properties.block, maxlength: 100 });
  const go = button(say("ground.merge.go"), () => {
    const other = others.find((/** @type {any} */ one) => one.id === pick.input.value);
    return ground.change(block.properties.version, (/** @type {string} */ version) => ground.api.post(`blocks/${block.id}/merge`, { other: other.id, other_version: other.properties.version, name: name.input.value.trim() || block.properties.block }, { ifMatch: version }),
      (/** @type {any} */ answer) => ground.kept(answer.said?.[0] ?? answer.notes?.[0] ?? say("ground.merge.done")));
  }, "main", { id: "merge-go" });
  return asked(host, say("ground.merge.ask", { name: block.properties.block }), [go], [pick.row, name.row]);
}

/** @param {HTMLElement} host @param {string} words @param {HTMLElement[]} ways @param {HTMLElement[]} [fields] */
function asked(host, words, ways, fields = []) {
  const box = el("div", { class: "caution", role: "group", tabindex: "-1" }, el("p", { text: words }), ...fields, el("p", { class: "buttons" }, ...ways, button(say("ground.not"), () => host.replaceChildren())));
  host.replaceChildren(box);
  box.focus();
}
