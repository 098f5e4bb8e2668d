// @ts-check
/** A new grove: its name, where it is, its clock, season and money. Only what can't be guessed is asked; what is guessed can be changed. */
import { el } from "../dom.js";
import { localeNow } from "../format.js";
import { say } from "../words.js";
import { field } from "./fields.js";
import { placeField, placeOfFile, remember, see } from "./place.js";

/** @param {import("./sheet.js").Sheet} ground @param {{then?: [string, any], file?: File | null}} given */
export async function open(ground, { then = ["draw", { purpose: "block" }], file = null }) {
  const { ctx, api } = ground;
  const found = await placeOfFile(file).catch(() => null);
  const name = field({ id: "grove-name-field", label: say("ground.new.name"), required: true, maxlength: 100 });
  const place = placeField({ id: "grove-place", label: say("ground.new.place"), value: found, change: (at) => { season.input.value = startOf(at[1]); } });
  const zone = field({ id: "grove-zone", label: say("ground.new.zone"), value: Intl.DateTimeFormat().resolvedOptions().timeZone, options: zones().map((one) => [one, one.replaceAll("_", " ")]) });
  const season = field({ id: "grove-season", label: say("ground.new.season"), value: startOf(found?.[1] ?? -1), options: months(), hint: say("ground.new.seasonHint") });
  const currency = field({ id: "grove-currency", label: say("ground.new.currency"), required: true, maxlength: 3, hint: say("ground.new.currencyHint"), list: currencies(), autocapitalize: "characters" });
  const region = field({ id: "grove-region", label: say("ground.new.region"), maxlength: 100 });
  const crs = field({ id: "grove-crs", label: say("ground.new.crs"), hint: say("ground.new.crsHint"), maxlength: 40 });
  const form = el("form", { class: "ground-form", novalidate: true, onsubmit: (/** @type {Event} */ event) => {
    event.preventDefault();
    make();
  } }, name.row, place.row, el("div", { class: "ground-two" }, zone.row, season.row), currency.row,
  el("details", {}, el("summary", { text: say("ground.new.more") }), el("div", { class: "ground-form" }, region.row, crs.row)),
  el("p", { class: "buttons" }, el("button", { class: "button main", type: "submit", text: say("ground.new.make") }), ground.back()));
  const make = async () => {
    const at = place.read();
    const missing = [!name.input.value.trim() && [name.input, "name"], !at && [place.input, "place"], !/^[a-z]{3}$/i.test(currency.input.value.trim()) && [currency.input, "currency"]].filter(Boolean);
    for (const input of [name.input, place.input, currency.input]) input.removeAttribute("aria-invalid");
    if (missing.length || !at) {
      for (const [input] of /** @type {any[]} */ (missing)) input.setAttribute("aria-invalid", "true");
      /** @type {any} */ (missing[0])[0].focus();
      ctx.fail(new Error(say("ground.new.missing", { what: missing.map((/** @type {any} */ one) => say(`ground.new.missing.${one[1]}`)).join(", ") })));
      return;
    }
    try {
      const made = await api.root("groves", { method: "POST", body: {
        name: name.input.value.trim(), longitude: at[0], latitude: at[1], time_zone: zone.input.value, season_start: season.input.value, currency: currency.input.value.trim().toUpperCase(),
        region: region.input.value.trim() || null, crs: crs.input.value.trim() || null } });
      remember(made.grove, at);
      await ctx.opened(made);
      see(ground, at);
      ctx.saved(say("ground.new.made", { name: made.name }));
      await ground.show(then[0], then[1]);
    } catch (error) {
      ctx.fail(error);
    }
  };
  const element = ground.page(say("ground.new.title"), el("p", { class: "quiet", text: say("ground.new.lead") }), form);
  return { element, title: say("ground.new.title"), focus: name.input };
}

/** The first month of a season of olives: the middle of winter, so that one season holds one harvest's growth. @param {number} lat */
function startOf(lat) {
  return lat < 0 ? "07-01" : "01-01";
}

/** @returns {[string, string][]} */
function months() {
  const how = new Intl.DateTimeFormat(localeNow(), { day: "numeric", month: "long", timeZone: "UTC" });
  return Array.from({ length: 12 }, (_none, i) => [`${String(i + 1).padStart(2, "0")}-01`, how.format(Date.UTC(2025, i, 1))]);
}

/** @returns {string[]} */
function zones() {
  const own = Intl.DateTimeFormat().resolvedOptions().timeZone;
  const all = Intl.supportedValuesOf?.("timeZone") ?? [own];
  return all.includes(own) ? all : [own, ...all];
}

/** @returns {[string, string][]} */
function currencies() {
  const names = new Intl.DisplayNames([localeNow()], { type: "currency" });
  return (Intl.supportedValuesOf?.("currency") ?? []).map((code) => [code, names.of(code) ?? code]);
}
