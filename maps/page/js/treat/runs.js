// @ts-check
/** The runs of a zone: a table whose ends can be changed; what was computed stays to be seen. */
import { el } from "../dom.js";
import { number, typedNumber, withUnit } from "../format.js";
import { pointing } from "../pressure/tables.js";
import { say } from "../words.js";

/** The stretches of a row that a change of its ends adds or drops. @param {any} run @param {number} from @param {number} to @returns {{add: string[], drop: string[]}} */
export function changesOf(run, from, to) {
  const [low, high] = [Math.min(run.from_position, run.to_position), Math.max(run.from_position, run.to_position)];
  const [newLow, newHigh] = [Math.min(from, to), Math.max(from, to)];
  const stretch = (/** @type {number} */ one, /** @type {number} */ other) => `${run.block}/${run.row}/${one}-${other}`;
  const add = [];
  const drop = [];
  if (newLow < low) add.push(stretch(newLow, Math.min(low - 1, newHigh)));
  if (newHigh > high) add.push(stretch(Math.max(high + 1, newLow), newHigh));
  if (newLow > low) drop.push(stretch(low, Math.min(newLow - 1, high)));
  if (newHigh < high) drop.push(stretch(Math.max(newHigh + 1, low), high));
  return { add, drop };
}

/** @param {any} ctx @param {any} zone @param {any} before The zone as it was worked out, to show what a run was; null for none. @param {(change: {add: string[], drop: string[]}, focus: string) => Promise<void>} change */
export function drawRuns(ctx, zone, before, change) {
  const runs = zone.runs.features.map((/** @type {any} */ feature) => feature.properties);
  const metres = runs.reduce((/** @type {number} */ sum, /** @type {any} */ run) => sum + run.length_m, 0);
  const heads = ["treat.run", "treat.row", "treat.trees", "treat.count", "treat.litres", "treat.load"].map((key) => say(key));
  return el("section", { class: "runs" },
    el("h2", { id: "runs" }, say("treat.runs"), " ", el("span", { class: "quiet", text: say("treat.runsLead", { runs: runs.length, trees: zone.summary.trees, metres: withUnit(metres, "m", 0) }) })),
    el("p", { class: "quiet", text: say("treat.runsHow") }),
    el("table", { class: "lines" }, el("caption", { class: "unseen", text: say("treat.runs") }),
      el("thead", {}, el("tr", {}, ...heads.map((words) => el("th", { scope: "col", text: words })))),
      el("tbody", {}, ...runs.flatMap((/** @type {any} */ run) => lines(ctx, run, was(run, before), heads, change)))));
}

/** The run of the version before that this one grew out of, where it had another number of trees. @param {any} run @param {any} before */
function was(run, before) {
  const same = (before?.runs.features ?? []).map((/** @type {any} */ feature) => feature.properties).filter((/** @type {any} */ old) => old.block === run.block && old.row === run.row && overlap(old, run));
  return same.length === 1 && same[0].trees !== run.trees ? same[0] : null;
}

/** @param {any} one @param {any} other */
function overlap(one, other) {
  const span = (/** @type {any} */ run) => [Math.min(run.from_position, run.to_position), Math.max(run.from_position, run.to_position)];
  const [[a, b], [c, d]] = [span(one), span(other)];
  return a <= d && c <= b;
}

/** A run in a line; below it, once it is chosen, what its ends are changed by.
 * @param {any} ctx @param {any} run @param {any} old @param {string[]} heads @param {(change: {add: string[], drop: string[]}, focus: string) => Promise<void>} change */
function lines(ctx, run, old, heads, change) {
  const cell = (/** @type {number} */ at, /** @type {...any} */ ...content) => el("td", { data: { label: heads[at] } }, ...content);
  const choose = () => ctx.state.choose({ block: run.block, row: run.row, run: run.run });
  const changed = old && (old.trees !== run.trees);
  return [el("tr", { id: `run-${run.run}`, data: { run: run.run }, ...pointing(ctx.state, { block: run.block, row: run.row, run: run.run }) },
    el("th", { scope: "row" }, el("button", { class: "name", type: "button", text: number(run.run), "aria-label": say("treat.changeRun", { run: run.run }), onclick: choose })),
    el("td", { class: "words", data: { label: heads[1] } }, `${run.block} ${run.row}`),
    el("td", { class: "words", data: { label: heads[2] } }, el("button", { class: "name", type: "button", tabindex: "-1", text: say("treat.fromTo", { from: run.from_position, to: run.to_position }), onclick: choose })),
    cell(3, changed && el("s", { class: "quiet", "aria-label": say("treat.was", { trees: old.trees }), text: number(old.trees) }), changed && " ", number(run.trees)),
    cell(4, number(run.litres, 1)), cell(5, run.load === null ? "–" : number(run.load))),
  el("tr", { class: "run-edit", hidden: true, data: { edits: run.run } }, el("td", { colspan: heads.length }, editor(ctx, run, change)))];
}

/** @param {any} ctx @param {any} run @param {(change: {add: string[], drop: string[]}, focus: string) => Promise<void>} change */
function editor(ctx, run, change) {
  const end = (/** @type {string} */ name, /** @type {number} */ value, /** @type {string} */ words) =>
    el("input", { class: "run-end", inputmode: "numeric", autocomplete: "off", name, value, "aria-label": `${say("treat.run")} ${run.run}, ${words}` });
  const [from, to] = [end("from", run.from_position, say("treat.from")), end("to", run.to_position, say("treat.to"))];
  const whole = `${run.block}/${run.row}/${Math.min(run.from_position, run.to_position)}-${Math.max(run.from_position, run.to_position)}`;
  return el("form", { class: "fields", onsubmit: (/** @type {Event} */ event) => {
    event.preventDefault();
    const [one, other] = [typedNumber(from.value), typedNumber(to.value)];
    if (one === null || other === null || !Number.isInteger(one) || !Number.isInteger(other)) return ctx.fail(new Error(say("treat.numberWanted", { field: say("treat.changeRun", { run: run.run }) })));
    return change(changesOf(run, one, other), `run-${run.run}`);
  } }, el("span", { text: say("treat.trees") }), from, el("span", { text: say("band.and") }), to,
  el("button", { class: "button small", type: "submit", text: say("treat.keep") }),
  el("button", { class: "button small", type: "button", text: say("treat.dropRun"), onclick: () => change({ add: [], drop: [whole] }, "runs") }));
}

/** Frame the run that is chosen and open its ends. @param {HTMLElement} part @param {any} state */
export function linkRuns(part, state) {
  const [chosen, pointed] = [state.get("selection"), state.get("preview")];
  for (const line of /** @type {NodeListOf<HTMLElement>} */ (part.querySelectorAll("tr[data-run]"))) {
    line.classList.toggle("linked", Number(line.dataset.run) === chosen?.run);
    line.classList.toggle("pointed", Number(line.dataset.run) === pointed?.run);
  }
  for (const line of /** @type {NodeListOf<HTMLElement>} */ (part.querySelectorAll("tr[data-edits]"))) line.hidden = Number(line.dataset.edits) !== chosen?.run;
}

/** A form that adds a row or a stretch of it. @param {any} ctx @param {(change: {add: string[], drop: string[]}, focus: string) => Promise<void>} change */
export function drawAdd(ctx, change) {
  const blocks = (ctx.state.get("trees")?.blocks ?? []).map((/** @type {string} */ name) => el("option", { value: name, text: name }));
  const block = el("select", { id: "add-block" }, ...blocks);
  const field = (/** @type {string} */ id, /** @type {string} */ words, needed = true) => [el("label", { for: id, text: words }), el("input", { id, inputmode: "numeric", autocomplete: "off", required: needed, class: "run-end" })];
  const form = el("form", { class: "add-trees", onsubmit: (/** @type {Event} */ event) => {
    event.preventDefault();
    const value = (/** @type {string} */ id) => typedNumber(form.querySelector(`#${id}`).value);
    const [row, from, to] = [value("add-row"), value("add-from"), value("add-to")];
    if (row === null) return;
    const stretch = from === null ? "" : `/${from}-${to ?? from}`;
    change({ add: [`${block.value}/${row}${stretch}`], drop: [] }, "runs");
  } }, el("p", { class: "quiet", text: say("treat.addLead") }),
  el("p", { class: "fields" }, el("label", { for: "add-block", text: say("treat.block") }), block, ...field("add-row", say("treat.row")), ...field("add-from", say("treat.from"), false), ...field("add-to", say("treat.to"), false),
    el("button", { class: "button", type: "submit", text: say("treat.add") })));
  return el("details", {}, el("summary", { text: say("treat.addTitle") }), form);
}
