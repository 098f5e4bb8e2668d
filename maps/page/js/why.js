// @ts-check
/** The "why" slip: a value, its limits, what it was worked out from, formula and source. */
import { el, focus, mount } from "./dom.js";
import { limits, number, percent, withUnit } from "./format.js";
import { say } from "./words.js";

/** @type {HTMLDialogElement | null} */
let slip = null;

function dialog() {
  if (!slip) {
    slip = /** @type {HTMLDialogElement} */ (el("dialog", { class: "why", "aria-labelledby": "why-title" }));
    document.body.append(slip);
  }
  return slip;
}

/** Ask the service why a tree has its number, and show it. @param {any} ctx @param {string} tree */
export async function openWhy(ctx, tree) {
  const box = dialog();
  const came = /** @type {HTMLElement | null} */ (document.activeElement);
  mount(box, el("p", { class: "quiet", id: "why-title", text: say("why.working") }));
  if (!box.open) box.showModal();
  box.onclose = () => came?.focus?.();
  try {
    const answer = await ctx.api.get(`pressure/trees/${tree}`, { query: { walk: ctx.state.get("walk") } });
    fill(box, answer, ctx);
  } catch (error) {
    box.close();
    ctx.fail(error);
  }
}

/** @param {HTMLDialogElement} box @param {any} answer @param {any} ctx */
function fill(box, answer, ctx) {
  const { value } = answer;
  const where = say("why.tree", { block: answer.block, row: answer.row, position: answer.position });
  const known = value.knowledge !== "unknown";
  const shown = known ? number(value.median_per_beat, 1) : say("pressure.tooFew");
  const title = el("h2", { id: "why-title", text: known ? say("why.title", { value: shown, where }) : `${where}: ${shown}` });
  const facts = el("dl", { class: "why-facts" });
  const fact = (/** @type {string} */ name, /** @type {any} */ words) => facts.append(el("div", {}, el("dt", { text: name }), el("dd", {}, words)));
  if (known && value.chance_over !== null) fact(say("why.chance"), percent(value.chance_over));
  fact(say("why.informed"), percent(value.informed));
  fact(say("why.nearest"), el("ul", {}, ...answer.nearest.map((/** @type {any} */ beat) => el("li", {
    text: beat.same_tree
      ? say("why.here", { counted: beat.counted, taps: beat.taps })
      : say("why.beat", { counted: beat.counted, taps: beat.taps, distance: withUnit(beat.distance_m, "m", 0) }),
  }))));
  fact(say("why.used"), number(answer.beats_used));
  fact(say("why.formula"), answer.formula);
  fact(say("why.source"), answer.source);
  mount(box, title,
    known && el("p", { text: `${limits(value.median_per_beat, value.low_80, value.high_80)}. ${say("why.limits", {
      low: number(value.low_80, 1), high: number(value.high_80, 1), low90: number(value.low_90, 1), high90: number(value.high_90, 1) })}` }),
    ...answer.said.map((/** @type {string} */ sentence) => el("p", { text: sentence })),
    facts,
    el("p", { class: "buttons" },
      el("button", { class: "button", type: "button", text: say("why.show"), onclick: () => {
        ctx.state.choose({ block: answer.block, row: answer.row, tree: answer.tree });
        box.close();
      } }),
      el("button", { class: "button", type: "button", text: say("why.close"), onclick: () => box.close() })));
  focus(title);
}

/** A number that answers "why" when it is asked. @param {any} ctx @param {string} tree @param {string} words */
export function whyButton(ctx, tree, words) {
  return el("button", { class: "ask", type: "button", text: words, "aria-label": `${words}. ${say("why")}?`, onclick: () => openWhy(ctx, tree) });
}
