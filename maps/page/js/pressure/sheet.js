// @ts-check
/** Pressure: the finding, the key to colour, the threshold, blocks, hot spots, where to look next. */
import { el, mount } from "../dom.js";
import { date } from "../format.js";
import { serviceButton } from "../offline.js";
import { countWord, say } from "../words.js";
import { bringCounts } from "./bring.js";
import { Layers } from "./layers.js";
import { drawLegend } from "./legend.js";
import { chancePainter, expectedPainter, unknownPainter } from "./painters.js";
import { drawBlocks, drawSpots } from "./tables.js";
import { drawThreshold } from "./threshold.js";

export class Sheet {
  /** @param {HTMLElement} element @param {any} ctx */
  constructor(element, ctx) {
    this.element = element;
    this.ctx = ctx;
    this.inside = false;
    this.head = el("div", { class: "sheet-part" });
    this.body = el("div", { class: "sheet-part" });
    this.slot = el("div", { class: "layer-slot" });
    this.layers = new Layers(ctx, this.slot);
    element.append(this.head, this.body);
    for (const key of ["summary", "pressure", "walks", "walk", "layer", "facts"]) ctx.state.on(key, () => this.inside && this.draw());
    for (const key of ["selection", "preview"]) ctx.state.on(key, () => this.inside && this.link());
    ctx.state.on("walk", () => this.inside && this.load());
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
    } catch (error) {
      this.ctx.fail(error);
    } finally {
      clearTimeout(slow);
      this.say("");
    }
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
    this.paint(summary, pressure);
    this.layers.show(pressure, null);
    mount(this.body, this.slot,
      drawLegend({ ramp: summary.ramp, threshold: pressure.threshold_per_beat, counted: pressure.counted, layer: state.get("layer") ?? "expected" }),
      drawThreshold(this.ctx, pressure), drawBlocks(this.ctx, summary, pressure), drawSpots(this.ctx, summary, pressure), this.look(summary), this.downloads());
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
    const own = this.ctx.state.get("grove")?.said ?? [];
    const rest = summary.said.filter((/** @type {string} */ words) => !own.includes(words)).slice(1);
    return el("p", { class: "quiet", text: [say("pressure.lead", { beaten: summary.trees_beaten, trees: pressure.trees, date: date(pressure.date) }), ...rest].join(" ") });
  }

  /** @param {any} pressure */
  asOf(pressure) {
    if (!this.ctx.state.get("walk") || !pressure) return null;
    return el("button", { class: "button plain", type: "button", text: say("pressure.back"), onclick: () => this.ctx.state.set({ walk: null }) });
  }

  /** @param {any} summary @param {any} pressure */
  paint(summary, pressure) {
    const chance = this.ctx.state.get("layer") === "chance" && pressure.threshold_per_beat !== null;
    this.ctx.plan.setPainter(chance ? chancePainter(pressure, summary.ramp.colours) : expectedPainter(pressure, summary.ramp));
    this.ctx.plan.setSpots(summary.hot_spots);
  }

  /** @param {any} summary */
  look(summary) {
    const unknown = summary.blocks.filter((/** @type {any} */ block) => !block.walked).map((/** @type {any} */ block) => block.block);
    return unknown.length ? el("p", { class: "look" }, el("strong", { text: `${say("pressure.lookNext")} ` }), say("pressure.lookBlocks", { blocks: unknown.join(", ") })) : null;
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
