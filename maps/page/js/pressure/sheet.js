// @ts-check
/** Pressure: the finding, the key to colour, the threshold, blocks, hot spots, where to look next. */
import { el, mount, token } from "../dom.js";
import { date } from "../format.js";
import { serviceButton } from "../offline.js";
import { countWord, say } from "../words.js";
import { bringCounts } from "./bring.js";
import { changePainter, drawChangeBlocks } from "./change.js";
import { Layers } from "./layers.js";
import { drawLegend } from "./legend.js";
import { drawNext, drawStage } from "./next.js";
import { chancePainter, expectedPainter, unknownPainter } from "./painters.js";
import { drawBlocks, drawSpots } from "./tables.js";
import { drawThreshold } from "./threshold.js";

export class Sheet {
  /** @param {HTMLElement} element @param {any} ctx */
  constructor(element, ctx) {
    this.element = element;
    this.ctx = ctx;
    this.inside = false;
    this.waiting = false;
    /** Day of the walk whose change is being read. @type {string | null} */
    this.asking = null;
    this.head = el("div", { class: "sheet-part" });
    this.body = el("div", { class: "sheet-part" });
    this.slot = el("div", { class: "layer-slot" });
    this.layers = new Layers(ctx, this.slot);
    element.append(this.head, this.body);
    for (const key of ["summary", "pressure", "walks", "walk", "layer", "facts", "change", "next", "light"]) ctx.state.on(key, () => this.later());
    for (const key of ["selection", "preview"]) ctx.state.on(key, () => this.inside && this.link());
    ctx.state.on("walk", () => this.inside && this.load());
  }

  /** Several things change together: drawn once, after all of them, with the keyboard where it was. */
  later() {
    if (!this.inside || this.waiting) return;
    this.waiting = true;
    queueMicrotask(() => {
      this.waiting = false;
      if (!this.inside) return;
      const held = document.activeElement?.id;
      this.draw();
      if (held && document.activeElement === document.body) document.getElementById(held)?.focus();
    });
  }

  async enter() {
    this.inside = true;
    this.draw();
    await this.load();
  }

  leave() {
    this.inside = false;
    this.layers.hide();
    this.ctx.plan.setSpots(null);
  }

  /** Read the map of the walk that is shown; say so when it takes longer than a glance. */
  async load() {
    const { state } = this.ctx;
    if (!(state.get("walks") ?? []).length) return;
    const slow = setTimeout(() => this.say(say("pressure.working", { n: state.get("trees")?.trees ?? 0 })), 300);
    try {
      await this.ctx.reload("pressure", "summary");
      this.bringNext();
    } catch (error) {
      this.ctx.fail(error);
    } finally {
      clearTimeout(slow);
      this.say("");
    }
  }

  /** Where to look next: only where a threshold is typed. It comes after the map, which does not wait for it. */
  async bringNext() {
    const { api, state } = this.ctx;
    const pressure = state.get("pressure");
    const asked = pressure?.threshold_per_beat !== null && state.get("summary")?.walk_before !== undefined;
    const next = asked ? await api.get("pressure/next", { query: { walk: state.get("walk") } }).catch(() => null) : null;
    state.set({ next: next?.walk === pressure?.date ? next : null });
  }

  /** @param {string} words */
  say(words) {
    this.element.dataset.working = words ? "true" : "false";
    const line = this.head.querySelector(".working");
    if (line) line.textContent = words;
  }

  draw() {
    const { state } = this.ctx;
    const [summary, pressure, walks] = [state.get("summary"), state.get("pressure"), state.get("walks") ?? []];
    if (!walks.length) return this.drawEmpty();
    mount(this.head, el("div", { class: "titled" }, el("h1", { text: this.title(summary, pressure) }), this.asOf(pressure)), this.lead(summary, pressure), el("p", { class: "working", role: "status" }));
    if (!summary || !pressure) return undefined;
    const layer = this.layer(summary, pressure);
    this.paint(summary, pressure, layer);
    this.layers.show(pressure, summary.walk_before?.date ?? null);
    const change = layer === "change" ? state.get("change") : null;
    mount(this.body, this.slot,
      drawLegend({ ramp: summary.ramp, threshold: pressure.threshold_per_beat, counted: pressure.counted, layer }), change && drawChangeBlocks(this.ctx, change),
      drawThreshold(this.ctx, pressure), drawBlocks(this.ctx, summary, pressure), drawSpots(this.ctx, summary, pressure), drawNext(this.ctx, summary, state.get("next")), drawStage(summary), madeOf(summary, this.ctx), this.downloads());
    this.link();
    return undefined;
  }

  drawEmpty() {
    this.ctx.plan.setPainter(unknownPainter());
    mount(this.head, el("h1", { text: say("pressure.none") }));
    mount(this.body, el("div", { class: "empty" }, el("p", { text: say("pressure.noneLead") }), bringCounts(this.ctx, () => this.load())));
  }

  /** Whether what is known belongs to another walk than the one that was asked for. @param {any} pressure */
  stale(pressure) {
    const walk = this.ctx.state.get("walk") ?? (this.ctx.state.get("walks") ?? []).at(-1)?.walk;
    const day = (this.ctx.state.get("walks") ?? []).find((/** @type {any} */ one) => one.walk === walk)?.date;
    return Boolean(day) && day !== pressure.date;
  }

  /** A finding, not a noun. @param {any} summary @param {any} pressure */
  title(summary, pressure) {
    const { state } = this.ctx;
    const shown = (state.get("walks") ?? []).find((/** @type {any} */ one) => one.walk === state.get("walk"));
    const asOf = shown ? say("pressure.asOf", { date: date(shown.date) }) : "";
    if (!summary || !pressure || this.stale(pressure)) return asOf || say("pressure.reading");
    const places = summary.hot_spots.features.length;
    const finding = pressure.threshold_per_beat === null ? say("pressure.noThreshold") : places === 1 ? say("pressure.onePlace") : say("pressure.places", { count: countWord(places) });
    return asOf ? `${asOf}: ${finding.slice(0, 1).toLowerCase()}${finding.slice(1)}` : finding;
  }

  /** How much was beaten, and where nothing is known. @param {any} summary @param {any} pressure */
  lead(summary, pressure) {
    if (!summary || !pressure || this.stale(pressure)) return null;
    const unknown = summary.blocks_unknown ?? [];
    return el("p", { class: "quiet", text: [say("pressure.lead", { beaten: summary.trees_beaten, trees: pressure.trees, date: date(pressure.date) }), unknown.length > 0 && say("pressure.unwalked", { blocks: unknown.join(", ") })].filter(Boolean).join(" ") });
  }

  /** @param {any} pressure */
  asOf(pressure) {
    if (!this.ctx.state.get("walk") || !pressure) return null;
    return el("button", { class: "button plain", type: "button", text: say("pressure.back"), onclick: () => this.ctx.state.set({ walk: null }) });
  }

  /** The layer that is asked for, where it can be told. @param {any} summary @param {any} pressure */
  layer(summary, pressure) {
    const asked = this.ctx.state.get("layer") ?? "expected";
    if (asked === "chance" && pressure.threshold_per_beat === null) return "expected";
    return asked === "change" && !summary.walk_before ? "expected" : asked;
  }

  /** @param {any} summary @param {any} pressure @param {string} layer */
  paint(summary, pressure, layer) {
    const { plan, state } = this.ctx;
    const change = state.get("change");
    const fits = change && change.trees === pressure.trees && change.date === pressure.date;
    if (layer === "change" && !fits) this.bringChange(pressure);
    plan.setPainter(layer === "chance" ? chancePainter(pressure, summary.ramp.colours) : layer === "change" && fits ? changePainter(change, token("well")) : expectedPainter(pressure, summary.ramp));
    plan.setSpots(summary.hot_spots);
  }

  /** Read the change since the walk before, once it is asked for. @param {any} pressure */
  async bringChange(pressure) {
    if (this.asking === pressure.date) return;
    this.asking = pressure.date;
    const slow = setTimeout(() => this.say(say("pressure.working", { n: pressure.trees })), 300);
    try {
      const change = await this.ctx.api.get("pressure/change", { query: { walk: this.ctx.state.get("walk") } });
      this.ctx.state.set({ change });
    } catch (error) {
      this.ctx.state.set({ layer: "expected" });
      this.ctx.fail(error);
    } finally {
      this.asking = null;
      clearTimeout(slow);
      this.say("");
    }
  }

  downloads() {
    const offer = (/** @type {string} */ name, /** @type {string} */ words) => serviceButton(this.ctx.state, words, () =>
      this.ctx.api.download(`outputs/pressure.${name}`, `pressure.${name}`, { query: { walk: this.ctx.state.get("walk") } }).catch(this.ctx.fail), say("treat.needs.export", { format: words.slice(0, 1).toLowerCase() + words.slice(1) }));
    return el("section", {}, el("h2", { text: say("pressure.downloads") }),
      el("p", { class: "buttons" }, offer("png", say("pressure.png")), offer("html", say("pressure.html")), offer("csv", say("pressure.csv"))),
      bringCounts(this.ctx, () => this.load()));
  }

  /** Frame the lines of what every view frames. */
  link() {
    const { state } = this.ctx;
    const [chosen, pointed] = [state.get("selection"), state.get("preview")];
    const holds = (/** @type {any} */ what, /** @type {DOMStringMap} */ data) => Boolean(what) && what.block === data.block && (data.from === undefined || (what.row >= Number(data.from) && what.row <= Number(data.to)));
    for (const line of this.body.querySelectorAll("[data-block]")) {
      line.classList.toggle("linked", holds(chosen, line.dataset));
      line.classList.toggle("pointed", holds(pointed, line.dataset));
    }
  }
}

/** What else the map says of itself: walks it is made of, what was sprayed between. @param {any} summary @param {any} ctx */
function madeOf(summary, ctx) {
  const own = ctx.state.get("grove")?.said ?? [];
  const rest = summary.said.filter((/** @type {string} */ words) => !own.includes(words));
  return el("details", {}, el("summary", { text: say("pressure.madeOf") }), ...rest.map((/** @type {string} */ words) => el("p", { text: words })));
}
