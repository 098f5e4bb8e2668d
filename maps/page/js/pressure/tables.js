// @ts-check
/** The block table and the hot spots by rank. */
import { el } from "../dom.js";
import { number } from "../format.js";
import { openSlip, openWhy, whyButton } from "../why.js";
import { say } from "../words.js";
import { swatch } from "./legend.js";
import { colourOf } from "./ramp.js";

/** A number that can be asked, its limits in brackets behind it. @param {any} number @param {string} low @param {string} high */
export function withLimits(number, low, high) {
  return [number, " ", el("span", { class: "limits quiet", text: say("limits", { low, high }) })];
}

/** Pointing at a line previews what it stands for. @param {any} state @param {any} what */
export function pointing(state, what) {
  return { onpointerenter: () => state.preview(what), onpointerleave: () => state.preview(null) };
}

/** @param {any} ctx @param {any} summary @param {any} pressure */
export function drawBlocks(ctx, summary, pressure) {
  const over = pressure.threshold_per_beat !== null;
  const head = [say("pressure.block"), say("pressure.beaten"), say("pressure.count"), ...(over ? [say("pressure.over")] : [])];
  const line = (/** @type {any} */ block) => {
    const why = () => openSlip(ctx, () => ofBlock(ctx, block, pressure));
    const cell = (/** @type {number} */ at, /** @type {any[]} */ ...content) => el("td", { data: { label: head[at] } }, ...content);
    return el("tr", { data: { block: block.block }, ...pointing(ctx.state, { block: block.block }) },
      el("th", { scope: "row" }, el("span", { class: "named" }, swatch(block.walked ? colourOf(block.median_per_beat, summary.ramp) : null, block.walked ? "well_known" : "unknown"),
        el("button", { class: "name", type: "button", text: block.block, onclick: () => ctx.state.choose({ block: block.block }) }))),
      cell(1, number(block.beaten)),
      block.walked ? cell(2, ...withLimits(whyButton(number(block.median_per_beat, 1), why, block.block), number(block.low_80, 1), number(block.high_80, 1)))
        : el("td", { class: "quiet", data: { label: head[2] }, text: say("pressure.tooFew") }),
      over && (block.walked ? cell(3, ...withLimits(whyButton(say("pressure.about", { n: number(block.trees_over, 0) }), why, `${block.block}, ${head[3]}`), number(block.trees_over_low_80, 0), number(block.trees_over_high_80, 0))) : cell(3, "?")));
  };
  return el("table", { class: "lines blocks" }, el("caption", { class: "unseen", text: say("pressure.blocks") }),
    el("thead", {}, el("tr", {}, ...head.map((words) => el("th", { scope: "col", text: words })))), el("tbody", {}, ...summary.blocks.map(line)));
}

/** @param {any} ctx @param {any} block @param {any} pressure */
async function ofBlock(ctx, block, pressure) {
  const tree = await ctx.api.get(`pressure/trees/${hottest(ctx, { block: block.block, from_row: -Infinity, to_row: Infinity }, pressure)}`, { query: { walk: ctx.state.get("walk") } });
  /** @type {[string, any][]} */
  const facts = [[say("why.beatenTrees"), say("why.ofTrees", { beaten: block.beaten, trees: block.trees })]];
  if (pressure.threshold_per_beat !== null) {
    facts.push([say("why.yours"), say("profile.value", { count: number(pressure.threshold_per_beat) })],
      [say("pressure.over"), `${number(block.trees_over, 0)} ${say("limits", { low: number(block.trees_over_low_80, 0), high: number(block.trees_over_high_80, 0) })}`]);
  }
  return {
    title: say("why.title", { value: number(block.median_per_beat, 1), where: block.block }),
    lines: [say("why.blockLimits", { low: number(block.low_80, 1), high: number(block.high_80, 1) })],
    facts, formula: `${say("why.blockFormula")} ${tree.formula}`, source: tree.source,
    show: () => ctx.state.choose({ block: block.block }),
  };
}

/** The tree of a place with the highest count to expect. @param {any} ctx @param {any} spot @param {any} pressure */
function hottest(ctx, spot, pressure) {
  const { columns, blocks } = ctx.state.get("trees");
  const block = blocks.indexOf(spot.block);
  let best = -1;
  columns.tree.forEach((/** @type {string} */ _tree, /** @type {number} */ i) => {
    const inside = columns.block[i] === block && columns.row[i] >= spot.from_row && columns.row[i] <= spot.to_row;
    if (inside && (best < 0 || pressure.columns.median_per_beat[i] > pressure.columns.median_per_beat[best])) best = i;
  });
  return columns.tree[best];
}

/** @param {any} ctx @param {any} summary @param {any} pressure */
export function drawSpots(ctx, summary, pressure) {
  if (pressure.threshold_per_beat === null) return null;
  const spots = summary.hot_spots.features;
  const where = (/** @type {any} */ spot) => say(spot.from_row === spot.to_row ? "pressure.spotRow" : "pressure.spotRows", { block: spot.block, from: spot.from_row, to: spot.to_row });
  const line = (/** @type {any} */ { properties: spot }) => el("li", { data: { block: spot.block, from: spot.from_row, to: spot.to_row }, ...pointing(ctx.state, { block: spot.block, row: spot.from_row }) },
    el("span", { class: "rank", text: String(spot.hot_spot) }),
    el("button", { class: "name", type: "button", text: where(spot), onclick: () => ctx.state.choose({ block: spot.block, row: spot.from_row }) }),
    el("span", { class: "quiet", text: say("pressure.spotTrees", { n: spot.trees }) }),
    whyButton(number(spot.median_per_beat, 1), () => openWhy(ctx, hottest(ctx, spot, pressure)), where(spot)));
  return el("section", { class: "hot" }, el("h2", { text: say("pressure.spots") }),
    spots.length ? el("ol", { class: "spots" }, ...spots.map(line)) : el("p", { class: "quiet", text: say("pressure.noSpots") }));
}
