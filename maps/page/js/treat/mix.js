// @ts-check
/** Mix and tank loads, with the caution where the hand is about to pour. */
import { el } from "../dom.js";
import { date, number, withUnit } from "../format.js";
import { say } from "../words.js";
import { amount } from "./amounts.js";

/** @param {string} first Bold first words. @param {string} rest */
export function caution(first, rest) {
  return el("p", { class: "caution" }, el("strong", { text: first }), rest ? ` ${rest}` : "");
}

/** @param {string} sentence The words before the first colon or stop are set bold, of a long clause the first five. */
export function cautionOf(sentence) {
  const found = /^([^:.;]{3,60}[:.;])\s*(.*)$/s.exec(sentence) ?? /^((?:\S+\s+){4}\S+)\s+(.*)$/s.exec(sentence);
  return found ? caution(found[1], found[2]) : caution(sentence, "");
}

/** @param {any} zone @param {any} facts GET …/facts */
export function drawMix(zone, facts) {
  const mix = zone.summary.mix;
  if (!mix) return null;
  const product = amount(mix.product, mix.product_unit) ?? say("treat.noProduct");
  const heads = ["treat.loadHead", "treat.covers", "treat.water", "treat.product"].map((key) => say(key));
  const line = (/** @type {any} */ load) => el("tr", {},
    el("th", { scope: "row", text: say(load.kind === "full" ? "treat.full" : "treat.part", { load: load.load }) }),
    el("td", { data: { label: heads[1] }, text: load.covers }), el("td", { data: { label: heads[2] }, text: withUnit(load.water_l, "L", 1) }),
    el("td", { data: { label: heads[3] } }, el("strong", { text: amount(load.product, load.product_unit) ?? say("treat.noProduct") })));
  return el("section", { class: "mix" }, el("h2", { text: say("treat.mix") }),
    el("p", { text: say("treat.mixTotal", { litres: withUnit(mix.litres, "L", 1), trees: mix.trees, product }) }),
    ...mix.remarks.map((/** @type {string} */ words) => el("p", { text: words })),
    el("table", { class: "lines" }, el("caption", { class: "unseen", text: say("treat.mix") }),
      el("thead", {}, el("tr", {}, ...heads.map((words) => el("th", { scope: "col", text: words })))), el("tbody", {}, ...zone.loads.map(line))),
    pour(mix, facts), ...zone.cautions.map(cautionOf),
    el("details", {}, el("summary", { text: say("treat.routes") }), el("table", { class: "lines" }, el("caption", { class: "unseen", text: say("treat.routes") }),
      el("thead", {}, el("tr", {}, ...["treat.route", "treat.litres", "treat.perTree", "treat.formula"].map((key) => el("th", { scope: "col", text: say(key) })))),
      el("tbody", {}, ...mix.routes.map((/** @type {any} */ route) => el("tr", {}, el("th", { scope: "row", text: route.words }),
        el("td", { data: { label: say("treat.litres") }, text: number(route.litres, 1) }), el("td", { data: { label: say("treat.perTree") }, text: number(route.litres_per_tree, 2) }),
        el("td", { class: "words", data: { label: say("treat.formula") }, text: `${route.formula}. ${route.source}.` })))))));
}

/** The caution where the hand is about to pour: what was typed, and when. @param {any} mix @param {any} facts */
function pour(mix, facts) {
  const typed = facts?.label?.values?.typed_on;
  if (!mix.rate) return null;
  return caution(say("treat.pour"), say("treat.pourLead", { rate: mix.rate, day: typed ? say("treat.pourDay", { date: date(typed) }) : "" }));
}
