// @ts-check
/** What the map shows: a segmented choice that lies on the map, on a phone at the head of the legend. */
import { el, mount } from "../dom.js";
import { date } from "../format.js";
import { say } from "../words.js";

const narrow = matchMedia("(max-width: 759.98px)");

export class Layers {
  /** @param {any} ctx @param {HTMLElement} slot In the sheet, for the phone. */
  constructor(ctx, slot) {
    this.ctx = ctx;
    this.slot = slot;
    this.bar = el("fieldset", { class: "segments layers" });
    this.tools = el("div", { class: "plan-tools" });
    narrow.addEventListener("change", () => this.lay());
  }

  lay() {
    if (narrow.matches) this.slot.append(this.bar);
    else this.tools.append(this.bar);
  }

  /** @param {any} pressure @param {string | null} since Day of the walk before, where a change can be told. */
  show(pressure, since) {
    const { state, plan } = this.ctx;
    plan.element.append(this.tools);
    this.lay();
    const now = state.get("layer") ?? "expected";
    const focused = this.bar.contains(document.activeElement);
    const choice = (/** @type {string} */ name, /** @type {string} */ words) => el("label", {},
      el("input", { type: "radio", name: "layer", value: name, checked: now === name, onchange: () => state.set({ layer: name }) }), el("span", { text: words }));
    const short = (/** @type {string} */ iso) => date(iso, { day: "numeric", month: "long" });
    const threshold = pressure.threshold_per_beat;
    mount(this.bar, el("legend", { class: "unseen", text: say("pressure.layers") }), choice("expected", say("pressure.expected")),
      threshold !== null && choice("chance", say("pressure.chance", { threshold })), since && choice("change", say("pressure.change", { date: short(since) })));
    this.bar.hidden = threshold === null && !since;
    if (focused) this.bar.querySelector("input:checked")?.focus();
    plan.room();
  }

  hide() {
    this.tools.remove();
    this.bar.remove();
    this.ctx.plan.room();
  }
}
