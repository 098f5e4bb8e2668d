// @ts-check
/** The map's content as a real table, in the order of the map's own keyboard: block, row, tree. */
import { el, mount } from "../dom.js";
import { limits, number } from "../format.js";
import { say } from "../words.js";

const AT_ONCE = 200;

/** @param {typeof import("../state.js").state} state @param {() => void} [closed] */
export function openTable(state, closed) {
  const trees = state.get("trees");
  const pressure = state.get("place") === "ground" ? null : state.get("pressure");
  const body = el("tbody");
  const told = el("p", { class: "quiet", role: "status" });
  const more = el("button", { class: "button", type: "button" });
  const pick = el("select", { id: "plan-table-block" }, ...(trees?.blocks ?? []).map((/** @type {string} */ name, /** @type {number} */ i) => el("option", { value: i, text: name })));
  const head = [say("plan.rowHead"), say("plan.treeHead"), say("plan.upslope"), ...(pressure ? [say("table.value")] : [])];
  const dialog = el("dialog", { class: "map-table", "aria-labelledby": "map-table-title" },
    el("div", { class: "dialog-head" }, el("h2", { id: "map-table-title", text: say("plan.tableTitle") }), el("button", { class: "button", type: "button", text: say("plan.tableClose"), onclick: () => dialog.close() })),
    el("p", { class: "field" }, el("label", { for: "plan-table-block", text: say("plan.block") }), pick), told,
    el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": say("plan.tableTitle") },
      el("table", { class: "lines" }, el("thead", {}, el("tr", {}, ...head.map((words) => el("th", { scope: "col", text: words })))), body)), more);
  let shown = 0;
  /** @type {number[]} */
  let those = [];
  const add = () => {
    const { columns } = trees;
    for (const i of those.slice(shown, shown + AT_ONCE)) {
      const value = pressure ? (pressure.columns.knowledge[i] === "unknown" ? say("plan.tooFew") : limits(pressure.columns.median_per_beat[i], pressure.columns.low_80[i], pressure.columns.high_80[i])) : null;
      body.append(el("tr", {}, el("th", { scope: "row", text: columns.row[i] }), el("td", { text: columns.position[i] }), el("td", { text: number(columns.upslope_m[i], 1) }), pressure ? el("td", { text: value }) : null));
    }
    shown = Math.min(shown + AT_ONCE, those.length);
    told.textContent = say("plan.tableOf", { from: Math.min(1, shown), to: shown, n: those.length });
    more.hidden = shown >= those.length;
    more.textContent = say("plan.tableMore", { n: Math.min(AT_ONCE, those.length - shown) });
  };
  const fill = () => {
    mount(body);
    shown = 0;
    those = [];
    (trees?.columns.block ?? []).forEach((/** @type {number} */ block, /** @type {number} */ i) => { if (block === Number(pick.value)) those.push(i); });
    if (trees) add();
  };
  more.addEventListener("click", add);
  pick.addEventListener("change", fill);
  dialog.addEventListener("close", () => { dialog.remove(); closed?.(); });
  document.body.append(dialog);
  fill();
  dialog.showModal();
}
