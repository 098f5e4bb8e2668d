// @ts-check
/** Pressure: the finding, the key to colour, the threshold, blocks, hot spots, where to look next. */
import { announce, el, mount } from "../dom.js";
import { date, limits, number, typedNumber } from "../format.js";
import { say } from "../words.js";
import { whyButton } from "../why.js";
import { bringCounts } from "./bring.js";
import { drawLegend, swatch } from "./legend.js";
import { chancePainter, expectedPainter, unknownPainter } from "./painters.js";
import { colourOf } from "./ramp.js";

export class Sheet {
  /** @param {HTMLElement} element @param {any} ctx */
  constructor(element, ctx) {
    this.element = element;
    this.ctx = ctx;
    this.inside = false;
    this.head = el("div", { class: "sheet-part" });
    this.body = el("div", { class: "sheet-part" });
    element.append(this.head, this.body);
    for (const key of ["summary", "pressure", "walks", "walk", "layer", "facts"]) ctx.state.on(key, () => this.inside && this.draw());
    ctx.state.on("selection", () => this.inside && this.link());
    ctx.state.on("walk", () => this.inside && this.load());
  }

  async enter() {
    this.inside = true;
    this.draw();
    await this.load();
  }

  leave() {
    this.inside = false;
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
    mount(this.head, el("h1", { text: this.title(summary, pressure) }), this.asOf(pressure), el("p", { class: "quiet lead-in", text: (summary?.said ?? []).slice(1).join(" ") }), el("p", { class: "working quiet", role: "status" }));
    if (!summary || !pressure) return undefined;
    this.paint(summary, pressure);
    const chance = state.get("layer") === "chance";
    mount(this.body,
      this.layers(pressure),
      drawLegend({ ramp: summary.ramp, threshold: pressure.threshold_per_beat, counted: pressure.counted, chance }),
      this.threshold(pressure),
      this.blocks(summary, pressure),
      this.spots(summary, pressure),
      this.look(summary),
      this.downloads());
    this.link();
    return undefined;
  }

  drawEmpty() {
    this.ctx.plan.setPainter(unknownPainter());
    mount(this.head, el("h1", { text: say("pressure.none") }));
    mount(this.body, el("div", { class: "empty" }, el("p", { text: say("pressure.noneLead") }), bringCounts(this.ctx, () => this.load())));
  }

  /** @param {any} summary @param {any} pressure */
  title(summary, pressure) {
    if (!summary) return say("pressure.working", { n: this.ctx.state.get("trees")?.trees ?? 0 });
    const first = summary.said?.[0] ?? "";
    return this.ctx.state.get("walk") && pressure ? `${say("pressure.asOf", { date: date(pressure.date) })}. ${first}` : first;
  }

  /** @param {any} pressure */
  asOf(pressure) {
    if (!this.ctx.state.get("walk") || !pressure) return null;
    return el("p", {}, el("button", { class: "button plain", type: "button", text: say("pressure.back"), onclick: () => this.ctx.state.set({ walk: null }) }));
  }

  /** @param {any} summary @param {any} pressure */
  paint(summary, pressure) {
    const chance = this.ctx.state.get("layer") === "chance" && pressure.threshold_per_beat !== null;
    this.ctx.plan.setPainter(chance ? chancePainter(pressure, summary.ramp.colours) : expectedPainter(pressure, summary.ramp));
    this.ctx.plan.setSpots(summary.hot_spots);
  }

  /** @param {any} pressure */
  layers(pressure) {
    if (pressure.threshold_per_beat === null) return null;
    const now = this.ctx.state.get("layer") ?? "expected";
    const choice = (/** @type {string} */ name, /** @type {string} */ words) => el("label", {},
      el("input", { type: "radio", name: "layer", value: name, checked: now === name, onchange: () => this.ctx.state.set({ layer: name }) }), words);
    return el("fieldset", { class: "segments" }, el("legend", { class: "unseen", text: say("pressure.layers") }),
      choice("expected", say("pressure.expected")), choice("chance", say("pressure.chance", { threshold: pressure.threshold_per_beat })));
  }

  /** @param {any} pressure */
  threshold(pressure) {
    const now = pressure.threshold_per_beat;
    const field = el("input", { id: "threshold", inputmode: "decimal", autocomplete: "off", class: "stepper-value", value: now === null ? "" : number(now), "aria-describedby": "threshold-yours" });
    const keep = (/** @type {number} */ value) => this.keepThreshold(value, pressure, field);
    const step = now !== null && now < 2 ? 0.5 : 1;
    const button = (/** @type {string} */ sign, /** @type {string} */ words, /** @type {number} */ by) => el("button", { class: "button step", type: "button", text: sign, "aria-label": words, onclick: () => now !== null && keep(Math.max(now + by, 0.5)) });
    return el("form", { class: "stepper", onsubmit: (/** @type {Event} */ event) => {
      event.preventDefault();
      keep(typedNumber(field.value) ?? Number.NaN);
    } },
    el("label", { for: "threshold", text: say("pressure.threshold") }),
    el("span", { class: "stepper-row" }, button("−", say("pressure.less"), -step), field, button("+", say("pressure.more"), step), el("span", { text: say("pressure.aBeat") })),
    el("p", { class: "quiet", id: "threshold-yours", text: say("pressure.yours") }));
  }

  /** @param {number} value @param {any} pressure @param {HTMLInputElement} field */
  async keepThreshold(value, pressure, field) {
    if (!(value > 0)) {
      field.setAttribute("aria-invalid", "true");
      return this.ctx.fail(new Error(say("pressure.thresholdNumber")));
    }
    const { api, state } = this.ctx;
    try {
      const held = await api.get("facts/threshold");
      const given = { per_beat: value, counts: held.values.counts ?? pressure.counted, standard_taps: held.values.standard_taps ?? pressure.standard_taps };
      await api.patch("facts/threshold", given, { ifMatch: held.version });
      this.ctx.saved(`${say("pressure.threshold")}: ${number(value)}.`);
      await this.ctx.reload("facts", "pressure", "summary", "grove");
      state.set({ options: null });
      announce(`${say("pressure.threshold")}: ${number(value)}`);
      document.getElementById("threshold")?.focus();
    } catch (error) {
      this.ctx.fail(error);
    }
    return undefined;
  }

  /** @param {any} summary @param {any} pressure */
  blocks(summary, pressure) {
    const over = pressure.threshold_per_beat !== null;
    const head = [say("pressure.block"), say("pressure.beaten"), say("pressure.count"), ...(over ? [say("pressure.over")] : [])];
    const line = (/** @type {any} */ block) => el("tr", { data: { block: block.block } },
      el("th", { scope: "row" }, swatch(block.walked ? colourOf(block.median_per_beat, summary.ramp) : null, block.walked ? "well_known" : "unknown"),
        el("button", { class: "name", type: "button", text: block.block, onclick: () => this.ctx.state.choose({ block: block.block }) })),
      el("td", { data: { label: head[1] }, text: number(block.beaten) }),
      el("td", { data: { label: head[2] }, text: block.walked ? limits(block.median_per_beat, block.low_80, block.high_80) : say("pressure.tooFew") }),
      over && el("td", { data: { label: head[3] }, text: block.walked ? limits(block.trees_over, block.trees_over_low_80, block.trees_over_high_80, 0) : "?" }));
    return el("table", { class: "lines" }, el("caption", { class: "unseen", text: say("pressure.blocks") }),
      el("thead", {}, el("tr", {}, ...head.map((words) => el("th", { scope: "col", text: words })))), el("tbody", {}, ...summary.blocks.map(line)));
  }

  /** @param {any} summary @param {any} pressure */
  spots(summary, pressure) {
    if (pressure.threshold_per_beat === null) return null;
    const spots = summary.hot_spots.features;
    const where = (/** @type {any} */ spot) => say(spot.from_row === spot.to_row ? "pressure.spotRow" : "pressure.spotRows", { block: spot.block, from: spot.from_row, to: spot.to_row });
    const line = (/** @type {any} */ { properties: spot }) => el("li", {},
      el("span", { class: "rank", text: String(spot.hot_spot) }),
      el("button", { class: "name", type: "button", text: where(spot), onclick: () => this.ctx.state.choose({ block: spot.block, row: spot.from_row }) }),
      el("span", { class: "quiet", text: say("pressure.spotTrees", { n: spot.trees }) }),
      whyButton(this.ctx, this.hottest(spot, pressure), number(spot.median_per_beat, 1)));
    return el("section", {}, el("h2", { text: say("pressure.spots") }),
      spots.length ? el("ol", { class: "spots" }, ...spots.map(line)) : el("p", { class: "quiet", text: say("pressure.noSpots") }));
  }

  /** The tree of a hot spot with the highest count to expect. @param {any} spot @param {any} pressure */
  hottest(spot, pressure) {
    const trees = this.ctx.state.get("trees");
    const block = trees.blocks.indexOf(spot.block);
    let best = -1;
    trees.columns.tree.forEach((/** @type {string} */ _tree, /** @type {number} */ i) => {
      const inside = trees.columns.block[i] === block && trees.columns.row[i] >= spot.from_row && trees.columns.row[i] <= spot.to_row;
      if (inside && (best < 0 || pressure.columns.median_per_beat[i] > pressure.columns.median_per_beat[best])) best = i;
    });
    return trees.columns.tree[best];
  }

  /** @param {any} summary */
  look(summary) {
    const unknown = summary.blocks.filter((/** @type {any} */ block) => !block.walked).map((/** @type {any} */ block) => block.block);
    return unknown.length ? el("p", { class: "look" }, el("strong", { text: `${say("pressure.lookNext")} ` }), say("pressure.lookBlocks", { blocks: unknown.join(", ") })) : null;
  }

  downloads() {
    const offer = (/** @type {string} */ name, /** @type {string} */ words) => el("button", { class: "button", type: "button", text: words, onclick: () =>
      this.ctx.api.download(`outputs/pressure.${name}`, `pressure.${name}`, { query: { walk: this.ctx.state.get("walk") } }).catch(this.ctx.fail) });
    return el("section", {}, el("h2", { text: say("pressure.downloads") }),
      el("p", { class: "buttons" }, offer("png", say("pressure.png")), offer("html", say("pressure.html")), offer("csv", say("pressure.csv"))),
      bringCounts(this.ctx, () => this.load()));
  }

  /** Frame the table row of what every view frames. */
  link() {
    const shown = this.ctx.state.get("selection");
    for (const line of this.body.querySelectorAll("tr[data-block]")) line.classList.toggle("linked", line.dataset.block === shown?.block);
  }
}
