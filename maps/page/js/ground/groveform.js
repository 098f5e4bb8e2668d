// @ts-check
/** The grove's own facts: name, region, season, money. */
import { el } from "../dom.js";
import { say } from "../words.js";
import { field } from "./fields.js";

/** @param {any} ground */
export function groveForm(ground) {
  const grove = ground.state.get("grove");
  const name = field({ id: "own-name", label: say("ground.new.name"), value: grove.name, maxlength: 100 });
  const region = field({ id: "own-region", label: say("ground.new.region"), value: grove.region ?? "", maxlength: 100 });
  const zone = field({ id: "own-zone", label: say("ground.new.zone"), value: grove.time_zone });
  const season = field({ id: "own-season", label: say("ground.new.seasonDay"), value: grove.season_start, pattern: "\\d\\d-\\d\\d" });
  const currency = field({ id: "own-currency", label: say("ground.new.currency"), value: grove.currency, maxlength: 3 });
  return el("form", { class: "ground-form", novalidate: true, onsubmit: (/** @type {Event} */ event) => {
    event.preventDefault();
    const given = /** @type {Record<string, any>} */ ({ name: name.input.value.trim(), region: region.input.value.trim() || null, time_zone: zone.input.value.trim(), season_start: season.input.value.trim(), currency: currency.input.value.trim().toUpperCase() });
    const changed = Object.fromEntries(Object.entries(given).filter(([key, value]) => value !== (grove[key] ?? null)));
    if (!Object.keys(changed).length) return ground.ctx.fail(new Error(say("ground.block.nothingChanged")));
    return ground.change(grove.version, (/** @type {string} */ version) => ground.api.patch("", changed, { ifMatch: version }), () => ground.kept(say("ground.grove.kept")));
  } }, name.row, region.row, el("div", { class: "ground-two" }, zone.row, season.row), currency.row, el("p", { class: "quiet", text: say("ground.grove.crs", { crs: grove.crs, datum: grove.datum }) }), el("p", {}, el("button", { class: "button", type: "submit", text: say("ground.grove.keep"), id: "grove-keep" })));
}
