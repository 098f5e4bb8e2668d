// @ts-check
/** Treat: options, zone, runs, mix, sheet; cautions where the hand is about to act. */
import { announce, el, focus, mount } from "../dom.js";
import { typedNumber, withUnit } from "../format.js";
import { plainPainter } from "../pressure/painters.js";
import { uuid } from "../api.js";
import { serviceButton } from "../offline.js";
import { say } from "../words.js";
import { Changes } from "./changes.js";
import { drawFacts } from "./facts.js";
import { cautionOf, drawMix } from "./mix.js";
import { drawOptions, narrow } from "./options.js";
import { drawAdd, drawRuns, linkRuns } from "./runs.js";

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
    /** The act that was kept last, for undo. @type {string | null} */
    this.act = null;
    this.changes = new Changes(ctx, (change, where) => this.change(change, where), () => this.takeBack());
    for (const key of ["selection", "preview"]) ctx.state.on(key, () => this.inside && linkRuns(this.zonePart, ctx.state));
    ctx.state.on("walk", () => this.inside && this.reload());
    narrow.addEventListener("change", () => this.options && this.drawOptions());
    document.addEventListener("treetoggle", (event) => this.inside && this.changes.toggle(/** @type {CustomEvent} */ (event).detail.tree));
    document.addEventListener("treechoose", (event) => this.inside && this.changes.click(/** @type {CustomEvent} */ (event).detail.tree));
  }

  async enter() {
    this.inside = true;
    this.ctx.plan.setPainter(plainPainter());
    if ((this.ctx.state.get("walks") ?? []).length) this.ctx.reload("pressure", "summary").catch(this.ctx.fail);
    await this.reload();
  }

  leave() {
    this.inside = false;
    this.changes.hide();
    this.ctx.plan.setRuns(null);
  }

  /** Read facts, the newest zone of the walk and the options; show each as soon as it is there. */
  async reload() {
    const { api, state } = this.ctx;
    const head = (/** @type {...any} */ ...rest) => mount(this.optionsPart, el("h1", { text: say("treat.title") }), el("div", { class: "empty" }, ...rest));
    if (!(state.get("walks") ?? []).length) return head(el("p", { text: say("treat.noWalk") }), el("p", {}, el("a", { href: "#pressure", text: say("treat.toPressure") })));
    if (!this.options) mount(this.optionsPart, el("h1", { text: say("treat.title") }));
    await this.during(say("treat.working"), async () => {
      const facts = await api.get("facts");
      state.set({ facts });
      mount(this.factsPart, drawFacts(this.ctx, facts, () => this.reload()));
      await this.readZone();
      if (facts.missing.length) {
        head(el("p", { text: say("treat.missing") }), el("ul", { class: "missing" }, ...facts.missing.map((/** @type {string} */ words) => el("li", { text: words }))));
        mount(this.zonePart);
        return;
      }
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
    this.before = await this.workedOut(zone);
    state.set({ zones, zone });
    this.changes.those = [];
    this.changes.show();
  }

  /** The version that no hand has changed yet, to show what a run was. @param {any} zone */
  async workedOut(zone) {
    let one = zone;
    for (let steps = 0; steps < 12 && one?.replaces && one.add.length + one.drop.length; steps += 1) one = await this.ctx.api.get(`zones/${one.replaces}`).catch(() => null);
    return one === zone ? null : one;
  }

  drawOptions() {
    const { options } = this;
    const { state } = this.ctx;
    const chosen = state.get("zone") ? "spot" : null;
    const best = options.options.find((/** @type {any} */ option) => option.option === options.best);
    const own = state.get("grove")?.said ?? [];
    mount(this.optionsPart, el("h1", { text: say(`treat.finding.${options.best}`, { trees: best.trees }) }), el("p", { class: "quiet", text: options.sentence }), drawOptions(this.ctx, options, chosen),
      el("details", {}, el("summary", { text: say("treat.notes") }), ...options.said.filter((/** @type {string} */ words) => words !== options.sentence && !own.includes(words)).map((/** @type {string} */ words) => el("p", { text: words }))));
  }

  drawZone() {
    const zone = this.ctx.state.get("zone");
    const law = this.options.cautions.map(cautionOf);
    if (!zone) {
      mount(this.zonePart, ...law, this.makeForm(zone));
      return;
    }
    const change = (/** @type {any} */ changes, /** @type {string} */ where) => this.change(changes, where);
    const about = [say("treat.version", { name: zone.name, version: zone.version_number }), zone.summary.changed_by_hand, zone.frozen ? say("treat.frozen") : ""].filter(Boolean).join(". ");
    mount(this.zonePart, el("p", { class: zone.frozen ? "frozen" : "quiet", text: about.slice(0, 1).toUpperCase() + about.slice(1) }),
      el("div", { class: "two" },
        el("div", { class: "sheet-part" }, drawRuns(this.ctx, zone, this.before, change), drawAdd(this.ctx, change), el("details", {}, el("summary", { text: say("treat.again") }), this.makeForm(zone)), el("details", {}, el("summary", { text: say("treat.order") }), ...notes(zone))),
        el("div", { class: "sheet-part" }, drawMix(zone, this.ctx.state.get("facts")) ?? "", this.print(zone, law), this.exports(zone))));
    linkRuns(this.zonePart, this.ctx.state);
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
    const words = say("treat.runsLead", { runs: made.runs.features.length, trees: made.summary.trees, metres: withUnit(made.summary.run_length_m ?? null, "m", 0) });
    this.act = made.act ?? null;
    this.changes.last = this.act ? say("treat.version", { name: made.name, version: made.version_number }) : null;
    await this.afresh(`${words}.`, where);
  }

  /** Undo the change that was kept last. */
  async takeBack() {
    if (!this.act) return;
    await this.during(say("treat.zoneMaking"), async () => {
      const answer = await this.ctx.api.post("undo", { act: this.act });
      this.act = null;
      this.changes.last = null;
      await this.afresh(answer.undone ? say("treat.undone", { what: answer.undone }) : say("treat.takenBack"), "runs");
    });
  }

  /** Read zone and options anew and say what was done. @param {string} words @param {string} where */
  async afresh(words, where) {
    const { api, state } = this.ctx;
    state.choose(null);
    await this.readZone();
    this.options = await api.get("options", { query: { walk: state.get("walk") } });
    await this.ctx.reload("yearLine");
    this.drawOptions();
    this.drawZone();
    this.ctx.saved(words);
    announce(words);
    focus(document.getElementById(where)?.querySelector("button") ?? document.getElementById("runs") ?? this.optionsPart.querySelector("h1"));
  }

  /** @param {any} zone @param {HTMLElement[]} law */
  print(zone, law) {
    const { api, state } = this.ctx;
    return el("section", {}, el("h2", { text: say("treat.sheet") }), ...law, el("p", { class: "quiet", text: zone.frozen ? say("treat.printed") : say("treat.printLead") }),
      serviceButton(state, say("treat.print"), () => this.during(say("treat.print"), async () => {
        if (!zone.frozen) await api.post(`zones/${zone.zone}/freeze`, undefined, { ifMatch: zone.version });
        await api.download(`zones/${zone.zone}/run-sheet.pdf`, "run-sheet.pdf");
        await this.readZone();
        this.drawZone();
      }), say("treat.needs.print"), "button main"));
  }

  /** @param {any} zone */
  exports(zone) {
    return el("section", {}, el("h2", { text: say("treat.exports") }), el("p", { class: "buttons" }, ...EXPORTS.map(([format, words]) => serviceButton(this.ctx.state, words, () =>
      this.ctx.api.download(`zones/${zone.zone}/exports/${format}`, format === "csv" ? "runs.csv" : `zone.${format}`).catch(this.ctx.fail), say("treat.needs.export", { format: words })))));
  }
}

/** @param {any} zone */
function notes(zone) {
  const barred = zone.summary.notes.filter((/** @type {string} */ words) => words);
  return barred.map((/** @type {string} */ words) => el("p", { class: "quiet", text: words }));
}
