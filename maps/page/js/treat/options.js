// @ts-check
/** The four ways to act, side by side, each with the grove in small. */
import { el, svg } from "../dom.js";
import { money, number, percent, withUnit } from "../format.js";
import { openSlip, whyButton } from "../why.js";
import { say } from "../words.js";

/** Where the options are cards; the sheet draws them anew when it changes. */
export const narrow = matchMedia("(max-width: 759.98px)");
const MAP = { width: 132, height: 84 };

/** @param {any} blocks FeatureCollection @returns {(position: [number, number]) => [number, number]} */
function smallScale(blocks) {
  let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const block of blocks.features) {
    for (const [x, y] of block.geometry.coordinates[0]) [west, south, east, north] = [Math.min(west, x), Math.min(south, y), Math.max(east, x), Math.max(north, y)];
  }
  const squeeze = Math.cos((((south + north) / 2) * Math.PI) / 180);
  const scale = Math.min((MAP.width - 8) / ((east - west) * squeeze), (MAP.height - 8) / (north - south));
  return ([x, y]) => [4 + (x - west) * squeeze * scale, MAP.height - 4 - (y - south) * scale];
}

/** @param {[number, number][]} ring @param {(position: [number, number]) => [number, number]} place */
const path = (ring, place) => `M${ring.map((position) => place(position).map((value) => value.toFixed(1)).join(" ")).join("L")}`;

/** @param {any} blocks @param {(name: string) => boolean} filled @param {any} [runs] */
function smallMap(blocks, filled, runs) {
  const place = smallScale(blocks);
  const drawing = svg("svg", { class: "small-map", viewBox: `0 0 ${MAP.width} ${MAP.height}`, "aria-hidden": "true" });
  for (const block of blocks.features) {
    drawing.append(svg("path", { class: filled(block.properties.block) ? "filled" : "outline", d: `${path(block.geometry.coordinates[0], place)}Z` }));
  }
  for (const run of runs?.features ?? []) drawing.append(svg("path", { class: "run", d: path(run.geometry.coordinates, place) }));
  return drawing;
}

/** Money short enough for a column: a code of three letters stands once, in the head of the line. @param {string} currency */
function purse(currency) {
  const sample = money(0, currency);
  const short = !sample.includes(currency);
  return { cell: (/** @type {number} */ value) => (short ? money(value, currency) : number(value, 0)), head: short ? "" : ` [${currency}]` };
}

/** @param {any} ctx @param {any} options GET …/options @param {string | null} chosen */
export function drawOptions(ctx, options, chosen) {
  const blocks = ctx.state.get("blocks");
  const runs = ctx.state.get("zone")?.runs;
  const { cell: coins, head: code } = purse(options.currency);
  const of = (/** @type {any} */ option) => new Set(String(option.blocks || "").split(", "));
  const filled = (/** @type {any} */ option) => (/** @type {string} */ name) => option.option === "everything" || (option.option === "blocks" && of(option).has(name));
  const small = (/** @type {any} */ option) => blocks && smallMap(blocks, filled(option), option.option === "spot" ? runs : null);
  const name = (/** @type {any} */ option) => [el("span", { class: "option-name" }, say(`treat.option.${option.option}`), option.option === chosen && el("em", { text: ` ${say("treat.chosen")}` })),
    option.option === options.best && el("span", { class: "best quiet", text: say("treat.best") })];
  /** @type {[string, (option: any) => any, string][]} Words of a line, what stands in it, its look. */
  const lines = [
    [say("treat.trees"), (option) => number(option.trees, 0), ""],
    [say("treat.litresHours"), (option) => say("treat.litresHoursValue", { litres: withUnit(option.litres, "L", 0), hours: withUnit(option.hours, "h", 1) }), ""],
    [say("treat.spendLoss") + code, (option) => `${coins(option.spend)} + ${coins(option.likely_loss)}`, "quiet"],
    [say("treat.expect") + code, (option) => whyButton(coins(option.expected_cost), () => openSlip(ctx, () => ofCost(option, options)), say(`treat.option.${option.option}`)), "strong"],
    [say("treat.chance"), (option) => bar(option.chance_cheapest), ""]];
  const mark = (/** @type {any} */ option) => (option.option === chosen ? "chosen" : "");
  const table = el("table", { class: "options" }, el("caption", { class: "unseen", text: say("treat.title") }),
    el("thead", {}, el("tr", {}, el("td", { class: "corner", text: say("treat.title") }), ...options.options.map((/** @type {any} */ option) => el("th", { scope: "col", class: mark(option) }, small(option), ...name(option))))),
    el("tbody", {}, ...lines.map(([words, content, kind]) => el("tr", { class: kind }, el("th", { scope: "row", text: words }), ...options.options.map((/** @type {any} */ option) => el("td", { class: mark(option) }, content(option)))))));
  // Where four columns have no room, each way is a card with the same lines.
  const cards = () => el("ul", { class: "option-cards" }, ...options.options.map((/** @type {any} */ option) => el("li", { class: `option-card ${mark(option)}` }, el("h2", {}, ...name(option)), small(option),
    el("dl", {}, ...lines.map(([words, content, kind]) => el("div", { class: kind }, el("dt", { text: words }), el("dd", {}, content(option))))))));
  return narrow.matches ? cards() : table;
}

/** @param {any} option @param {any} options @returns {import("../why.js").Slip} */
function ofCost(option, options) {
  const coins = (/** @type {number} */ value) => money(value, options.currency, value !== 0 && Math.abs(value) < 100 ? 2 : 0);
  return {
    title: say("treat.why.title", { cost: coins(option.expected_cost), option: say(`treat.option.${option.option}`) }),
    lines: [say("treat.why.chance", { share: percent(option.chance_cheapest) })],
    facts: [[say("treat.why.spend"), coins(option.spend)], [say("treat.why.loss"), coins(option.likely_loss)], [say("treat.trees"), number(option.trees, 0)],
      [say("treat.why.perTree"), coins(options.cost_per_tree_mean)], [say("treat.why.start"), coins(options.start_cost)], [say("treat.why.lossTree"), coins(options.loss_per_tree)]],
    formula: say("treat.why.formula"), source: say("treat.why.source"),
  };
}

/** A share as a bar with its number beside it. @param {number} share */
function bar(share) {
  const drawing = svg("svg", { class: "share-bar", viewBox: "0 0 72 12", "aria-hidden": "true" }, svg("rect", { class: "share-frame", x: 0.75, y: 0.75, width: 70.5, height: 10.5 }), svg("rect", { class: "share-fill", x: 0.75, y: 0.75, width: 70.5 * share, height: 10.5 }));
  return el("span", { class: "share" }, drawing, percent(share));
}
