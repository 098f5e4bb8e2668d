// @ts-check
/** Where to look next: the trees whose count would most likely change what is done; and how far the nymphs have come. */
import { el, mount } from "../dom.js";
import { number, percent } from "../format.js";
import { say } from "../words.js";
import { pointing, withLimits } from "./tables.js";

const AT_ONCE = 6;

/** @param {any} ctx @param {any} summary @param {any} next GET …/pressure/next, null until it is known. */
export function drawNext(ctx, summary, next) {
  const unknown = (summary.blocks_unknown ?? []).join(", ");
  const trees = next?.trees ?? [];
  if (!trees.length && !next && !unknown) return null;
  const list = el("ol", { class: "next" });
  const line = (/** @type {any} */ tree) => el("li", pointing(ctx.state, { block: tree.block, row: tree.row, tree: tree.tree }),
    el("button", { class: "name", type: "button", text: say("why.tree", { block: tree.block, row: tree.row, position: tree.position }), onclick: () => {
      ctx.state.choose({ block: tree.block, row: tree.row, tree: tree.tree });
      ctx.plan.bring(tree.tree);
    } }), el("span", { class: "quiet", text: tree.reason }));
  mount(list, ...trees.slice(0, AT_ONCE).map(line));
  const more = el("button", { class: "button", type: "button", text: say("plan.tableMore", { n: trees.length - AT_ONCE }), onclick: () => {
    mount(list, ...trees.map(line));
    more.remove();
    list.querySelectorAll("button")[AT_ONCE]?.focus();
  } });
  return el("section", { class: "look" }, el("h2", { text: say("pressure.lookNext") }),
    next ? el("p", { text: next.sentence }) : unknown && el("p", { text: say("pressure.lookBlocks", { blocks: unknown }) }), trees.length > 0 && list, trees.length > AT_ONCE && more);
}

/** The share of sheets with nymphs that show wing buds, block by block. @param {any} summary */
export function drawStage(summary) {
  const told = (summary.stage ?? []).filter((/** @type {any} */ one) => one.share !== null && one.share !== undefined);
  if (!told.length) return null;
  const head = [say("pressure.block"), say("pressure.sheets"), say("pressure.wingBuds")];
  return el("section", { class: "stage" }, el("h2", { text: say("pressure.stage") }),
    el("table", { class: "lines blocks" }, el("caption", { class: "unseen", text: say("pressure.stage") }),
      el("thead", {}, el("tr", {}, ...head.map((words) => el("th", { scope: "col", text: words })))),
      el("tbody", {}, ...told.map((/** @type {any} */ one) => el("tr", { data: { block: one.block } }, el("th", { scope: "row", text: one.block }), el("td", { data: { label: head[1] }, text: number(one.sheets) }),
        el("td", { data: { label: head[2] } }, ...withLimits(percent(one.share), percent(one.low_80), percent(one.high_80))))))));
}
