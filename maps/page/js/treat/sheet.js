// @ts-check
/** Treat: options, zone, runs, mix, sheet; cautions where the hand is about to act. */
import { announce, el, focus, mount } from "../dom.js";
import { typedNumber, withUnit } from "../format.js";
import { plainPainter } from "../pressure/painters.js";
import { uuid } from "../api.js";
import { say } from "../words.js";
import { drawFacts } from "./facts.js";
import { cautionOf, drawMix } from "./mix.js";
import { drawOptions } from "./options.js";
import { drawAdd, drawRuns } from "./runs.js";

const EXPORTS = [["gpx", "GPX"], ["geojson", "GeoJSON"], ["gpkg", "GeoPackage"], ["kml", "KML"], ["shp.zip", "Shapefile"], ["csv", "CSV"]];

export class Sheet {
  /** @param {HTMLElement} element @param {any} ctx */
  constructor(element, ctx) {
    this.element = element;
    this.ctx = ctx;
    this.inside = false;
    /** @type {any} */
    this.options = null;
    /** @type {any} */
    this.before = null;
    this.working = el("p", { class: "working quiet", role: "status" });
    this.optionsPart = el("div", { class: "sheet-part" });
    this.zonePart = el("div", { class: "sheet-part" });
    this.factsPart = el("div", { class: "sheet-part" });
    element.append(this.optionsPart, this.working, this.zonePart, this.factsPart);
    ctx.state.on("selection", () => this.inside && this.link());
    document.addEventListener("treetoggle", (event) => this.inside && this.toggle(/** @type {CustomEvent} */ (event).detail.tree));
  }

  async enter() {
    this.inside = true;
    this.ctx.plan.setPainter(plainPainter());
    await this.reload();
  }

  leave() {
    this.inside = false;
    this.ctx.plan.setRuns(null);
  }

  /** Read facts, the newest zone of the walk and the options; show each as soon as it is there. */
  async reload() {
    const { api, state } = this.ctx;
    if (!(state.get("walks") ?? []).length) return mount(this.optionsPart, el("h1", { text: say("treat.title") }), el("div", { class: "empty" }, el("p", { text: say("treat.noWalk") })));
    await this.during(say("treat.working"), async () => {
      const facts = await api.get("facts");
      state.set({ facts });
      mount(this.factsPart, drawFacts(this.ctx, facts, () => this.reload()));
      await this.readZone();
      if (facts.missing.length) {
        mount(this.optionsPart, el("h1", { text: say("treat.title") }), el("div", { class: "empty" }, el("p", { text: say("treat.missing") }), el("ul", { class: "missing" }, ...facts.missing.map((/** @type {string} */ words) => el("li", { text: words })))));
        this.element.prepend(this.optionsPart, this.working, this.factsPart);
        return;
      }
      this.element.prepend(this.optionsPart, this.working, this.zonePart);
      this.options = await api.get("options", { query: { walk: state.get("walk") } });
      this.drawOptions();
      this.drawZone();
    });
    return undefined;
  }

  /** Do something that may take long: after 300 ms it is said what, old figures stay. @param {string} words @param {() => Promise<any>} work */
  async during(words, work) {
    const slow = setTimeout(() => {
      this.working.textContent = words;
      this.element.dataset.working = "true";
    }, 300);
    try {
      return await work();
    } catch (error) {
      this.ctx.fail(error);
      return null;
    } finally {
      clearTimeout(slow);
      this.working.textContent = "";
      this.element.dataset.working = "false";
    }
  }

  async readZone() {
    const { api, state } = this.ctx;
    const { zones } = await api.get("zones");
    const walk = state.get("walk") ?? (state.get("walks") ?? []).at(-1)?.walk;
    const own = zones.filter((/** @type {any} */ zone) => zone.walk === walk && zone.newest);
    const zone = own.length ? await api.get(`zones/${own.at(-1).zone}`) : null;
    this.before = zone?.replaces ? await api.get(`zones/${zone.replaces}`).catch(() => null) : null;
    state.set({ zones, zone });
    this.ctx.plan.setRuns(zone?.runs ?? null, {});
  }

  drawOptions() {
    const { options } = this;
    const chosen = this.ctx.state.get("zone") ? "spot" : null;
    mount(this.optionsPart, el("h1", { text: say("treat.title") }), el("p", { text: options.sentence }), drawOptions(this.ctx, options, chosen),
      el("details", {}, el("summary", { text: say("treat.notes") }), ...options.said.filter((/** @type {string} */ words) => words !== options.sentence).map((/** @type {string} */ words) => el("p", { text: words }))),
      ...options.cautions.map(cautionOf));
  }

  drawZone() {
    const zone = this.ctx.state.get("zone");
    mount(this.zonePart, this.makeForm(zone));
    if (!zone) return;
    const change = (/** @type {any} */ changes, /** @type {string} */ where) => this.change(changes, where);
    this.zonePart.append(
      el("p", { class: "quiet", text: [say("treat.version", { name: zone.name, version: zone.version_number }), zone.summary.changed_by_hand, zone.frozen ? say("treat.frozen") : ""].filter(Boolean).join(". ") }),
      drawRuns(this.ctx, zone, this.before, change), drawAdd(this.ctx, change), ...notes(zone), drawMix(zone) ?? "", this.print(zone), this.exports(zone));
    this.link();
  }

  /** @param {any} zone */
  makeForm(zone) {
    const along = el("input", { id: "margin-along", inputmode: "decimal", class: "run-end", value: zone?.margin_along_m ?? 0, autocomplete: "off" });
    const across = el("input", { id: "margin-across", inputmode: "decimal", class: "run-end", value: zone?.margin_across_m ?? 0, autocomplete: "off" });
    return el("form", { class: "make-zone", onsubmit: (/** @type {Event} */ event) => {
      event.preventDefault();
      this.make(typedNumber(along.value) ?? 0, typedNumber(across.value) ?? 0);
    } },
    el("p", { class: "fields" }, el("label", { for: "margin-along", text: say("treat.marginAlong") }), el("span", { class: "with-unit" }, along, "m"),
      el("label", { for: "margin-across", text: say("treat.marginAcross") }), el("span", { class: "with-unit" }, across, "m"),
      el("button", { class: zone ? "button" : "button main", type: "submit", text: say(zone ? "treat.again" : "treat.make") })));
  }

  /** @param {number} along @param {number} across */
  async make(along, across) {
    const { api, state } = this.ctx;
    await this.during(say("treat.zoneMaking"), async () => {
      const asked = { zone: uuid(), replaces: state.get("zone")?.zone ?? null, walk: state.get("walk"), margin_along_m: along, margin_across_m: across };
      const made = await api.post("zones", asked);
      if (!made.zone) return this.ctx.fail(new Error(say("treat.none")));
      await this.after(made, "runs");
      return undefined;
    });
  }

  /** @param {{add: string[], drop: string[]}} changes @param {string} where Id to go back to with the keyboard. */
  async change(changes, where) {
    const zone = this.ctx.state.get("zone");
    if (!zone || !(changes.add.length + changes.drop.length)) return;
    await this.during(say("treat.zoneMaking"), async () => this.after(await this.ctx.api.post(`zones/${zone.zone}/edits`, { zone: uuid(), ...changes }, { ifMatch: zone.version }), where));
  }

  /** @param {any} made @param {string} where */
  async after(made, where) {
    const { api, state } = this.ctx;
    await this.readZone();
    this.options = await api.get("options", { query: { walk: state.get("walk") } });
    await this.ctx.reload("yearLine");
    this.drawOptions();
    this.drawZone();
    const words = say("treat.runsLead", { runs: made.runs.features.length, trees: made.summary.trees, metres: withUnit(made.summary.run_length_m ?? null, "m", 0) });
    this.ctx.saved(`${words}.`);
    announce(words);
    focus(document.getElementById(where) ?? this.zonePart.querySelector(".runs h2"));
  }

  /** Space on the map: add the tree when it is out, drop it when it is in. @param {string} tree */
  toggle(tree) {
    const inside = this.ctx.state.get("zone")?.trees.columns.tree.includes(tree);
    return this.change(inside ? { add: [], drop: [tree] } : { add: [tree], drop: [] }, "plan");
  }

  /** @param {any} zone */
  print(zone) {
    const { api } = this.ctx;
    return el("section", {}, el("h2", { text: say("treat.sheet") }), el("p", { class: "quiet", text: say("treat.printLead") }),
      el("button", { class: "button main", type: "button", text: say("treat.print"), onclick: () => this.during(say("treat.print"), async () => {
        if (!zone.frozen) await api.post(`zones/${zone.zone}/freeze`, undefined, { ifMatch: zone.version });
        await api.download(`zones/${zone.zone}/run-sheet.pdf`, "run-sheet.pdf");
        await this.readZone();
        this.drawZone();
      }) }));
  }

  /** @param {any} zone */
  exports(zone) {
    return el("section", {}, el("h2", { text: say("treat.exports") }), el("p", { class: "buttons" }, ...EXPORTS.map(([format, words]) => el("button", {
      class: "button", type: "button", text: words,
      onclick: () => this.ctx.api.download(`zones/${zone.zone}/exports/${format}`, format === "csv" ? "runs.csv" : `zone.${format}`).catch(this.ctx.fail),
    }))));
  }

  link() {
    const shown = this.ctx.state.get("selection");
    for (const line of this.zonePart.querySelectorAll("tr[data-run]")) line.classList.toggle("linked", Number(line.dataset.run) === shown?.run);
  }
}

/** @param {any} zone */
function notes(zone) {
  const barred = zone.summary.notes.filter((/** @type {string} */ words) => words);
  return barred.map((/** @type {string} */ words) => el("p", { class: "quiet", text: words }));
}
