// @ts-check
/** Change since the walk before: what the map shows of it, and block by block what is clear. */
import { el } from "../dom.js";
import { date, number } from "../format.js";
import { say } from "../words.js";
import { pointing, withLimits } from "./tables.js";

/** Pale cells with an arrow where the change is clear, hatched where the limits include no change.
 * @param {any} change GET …/pressure/change @param {string} pale @returns {import("./painters.js").Painter} */
export function changePainter(change, pale) {
  const { median_ratio: ratio, clear } = change.columns;
  return (i) => {
    if (clear[i] === "unknown" || ratio[i] === null) return { fill: null, hatch: "unknown" };
    const told = clear[i] === "fewer" || clear[i] === "more";
    return { fill: pale, hatch: told ? "none" : "doubtful", arrow: told ? Math.log(ratio[i]) : null };
  };
}

/** @param {any} ctx @param {any} change */
export function drawChangeBlocks(ctx, change) {
  const head = [say("pressure.block"), say("pressure.times"), say("pressure.found")];
  const line = (/** @type {any} */ block) => el("tr", { data: { block: block.block }, ...pointing(ctx.state, { block: block.block }) },
    el("th", { scope: "row" }, el("button", { class: "name", type: "button", text: block.block, onclick: () => ctx.state.choose({ block: block.block }) })),
    el("td", { data: { label: head[1] } }, ...(block.clear === "unknown" ? [say("pressure.notBoth")] : withLimits(`× ${number(block.median_ratio, 2)}`, number(block.low_80, 2), number(block.high_80, 2)))),
    el("td", { data: { label: head[2] }, text: block.clear === "unknown" ? "?" : say(`pressure.clear.${block.clear}`) }));
  return el("section", { class: "change" }, el("h2", { text: say("pressure.change", { date: date(change.since, { day: "numeric", month: "long" }) }) }),
    ...change.said.map((/** @type {string} */ words) => el("p", { class: "quiet", text: words })),
    el("table", { class: "lines blocks" }, el("caption", { class: "unseen", text: say("pressure.times") }),
      el("thead", {}, el("tr", {}, ...head.map((words) => el("th", { scope: "col", text: words })))), el("tbody", {}, ...change.blocks.map(line))));
}
