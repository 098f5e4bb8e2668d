// @ts-check
/** The "why" slip: a value, its limits, what it was worked out from, formula and source. A dotted underline marks every number that has one. */
import { el, focus, mount } from "./dom.js";
import { number, percent, withUnit } from "./format.js";
import { Problem } from "./problem.js";
import { say } from "./words.js";

/** @typedef {{title: string, lines?: string[], facts?: [string, any][], formula?: string, source?: string, show?: () => void}} Slip */

/** @type {HTMLDialogElement | null} */
let slip = null;

function dialog() {
  if (!slip) {
    slip = /** @type {HTMLDialogElement} */ (el("dialog", { class: "why", "aria-labelledby": "why-title" }));
    slip.addEventListener("click", (event) => { if (event.target === slip) slip?.close(); });
    document.body.append(slip);
  }
  return slip;
}

/** Show a slip at once, or as soon as it is known. @param {any} ctx @param {() => Slip | Promise<Slip>} ask */
export async function openSlip(ctx, ask) {
  const box = dialog();
  const came = /** @type {HTMLElement | null} */ (document.activeElement);
  mount(box, el("p", { class: "quiet", id: "why-title", text: say("why.working") }));
  if (!box.open) box.showModal();
  box.onclose = () => came?.focus?.();
  try {
    fill(box, await ask());
  } catch (error) {
    box.close();
    ctx.fail(error);
  }
}

/** @param {HTMLDialogElement} box @param {Slip} told */
function fill(box, { title, lines = [], facts = [], formula, source, show }) {
  const head = el("h2", { id: "why-title", text: title });
  mount(box, head, ...lines.map((words) => el("p", { text: words })),
    el("dl", { class: "why-facts" }, ...facts.map(([name, words]) => el("div", {}, el("dt", { text: name }), el("dd", {}, words)))),
    formula && el("details", {}, el("summary", { text: say("why.formulaSource") }), el("p", { text: formula }), source && el("p", { class: "quiet", text: `${say("why.source")}: ${source}` })),
    el("p", { class: "buttons" },
      show && el("button", { class: "button", type: "button", text: say("why.show"), onclick: () => { box.close(); show(); } }),
      el("button", { class: "button", type: "button", text: say("why.close"), onclick: () => box.close() })));
  focus(head);
}

/** Ask the service why a tree has its number, and show it. @param {any} ctx @param {string} tree */
export function openWhy(ctx, tree) {
  return openSlip(ctx, async () => {
    try {
      return ofTree(await ctx.api.get(`pressure/trees/${tree}`, { query: { walk: ctx.state.get("walk") } }), ctx);
    } catch (error) {
      const known = error instanceof Problem && error.offline ? fromMap(ctx.state, tree) : null;
      if (!known) throw error;
      return ofTree(known, ctx);
    }
  });
}

/** With the network off: what the map itself knows of a tree that nobody asked about before. @param {any} state @param {string} tree */
function fromMap(state, tree) {
  const [trees, pressure] = [state.get("trees"), state.get("pressure")];
  const [at, i] = [trees?.columns.tree.indexOf(tree) ?? -1, pressure?.columns.tree.indexOf(tree) ?? -1];
  if (at < 0 || i < 0) return null;
  const value = Object.fromEntries(Object.entries(pressure.columns).map(([name, values]) => [name, values[i]]));
  return { tree, block: trees.blocks[trees.columns.block[at]], row: trees.columns.row[at], position: trees.columns.position[at], value,
    nearest: [], beats_used: null, threshold_per_beat: pressure.threshold_per_beat, said: ["", say("why.away")] };
}

/** @param {any} answer GET …/pressure/trees/{tree} @param {any} ctx @returns {Slip} */
function ofTree(answer, ctx) {
  const { value } = answer;
  const where = say("why.tree", { block: answer.block, row: answer.row, position: answer.position });
  const known = value.knowledge !== "unknown";
  /** @type {[string, any][]} */
  const facts = [[say("why.informed"), percent(value.informed)]];
  if (answer.nearest.length) facts.unshift([say("why.nearest"), el("ul", {}, ...answer.nearest.map((/** @type {any} */ beat) => el("li", {
    text: beat.same_tree ? say("why.here", { counted: beat.counted, taps: beat.taps }) : say("why.beat", { counted: beat.counted, taps: beat.taps, distance: withUnit(beat.distance_m, "m", 0) }) })))],
  [say("why.used"), number(answer.beats_used)]);
  if (answer.threshold_per_beat !== null && answer.threshold_per_beat !== undefined) facts.push([say("why.yours"), say("profile.value", { count: number(answer.threshold_per_beat) })]);
  if (known && value.chance_over !== null) facts.push([say("why.chance"), percent(value.chance_over)]);
  return {
    title: known ? say("why.title", { value: number(value.median_per_beat, 1), where }) : `${where}: ${say("pressure.tooFew")}`,
    lines: [known ? say("why.limits", { low: number(value.low_80, 1), high: number(value.high_80, 1), low90: number(value.low_90, 1), high90: number(value.high_90, 1), known: say(`plan.${value.knowledge}`) }) : "", answer.said[1] ?? ""].filter(Boolean),
    facts, formula: answer.formula, source: answer.source,
    show: () => {
      ctx.state.choose({ block: answer.block, row: answer.row, tree: answer.tree });
      ctx.plan.bring?.(answer.tree);
    },
  };
}

/** A number that answers "why" when it is asked. @param {string} words @param {() => void} ask @param {string} [of] What the number is of, for a screen reader. */
export function whyButton(words, ask, of = "") {
  return el("button", { class: "ask", type: "button", text: words, "aria-label": `${[of, words].filter(Boolean).join(": ")}. ${say("why")}?`, onclick: ask });
}
