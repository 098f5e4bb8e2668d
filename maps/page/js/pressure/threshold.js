// @ts-check
/** The action threshold: the grower's own number, set where it is used. */
import { announce, el } from "../dom.js";
import { number, typedNumber } from "../format.js";
import { say } from "../words.js";

const LEAST = 0.5;

/** @param {any} ctx @param {any} pressure */
export function drawThreshold(ctx, pressure) {
  const now = pressure.threshold_per_beat;
  const held = ctx.state.get("facts")?.threshold?.values ?? {};
  const field = el("input", { id: "threshold", inputmode: "decimal", autocomplete: "off", class: "stepper-value", value: now === null ? "" : number(now), "aria-describedby": "threshold-yours" });
  const keep = (/** @type {number} */ value) => keepThreshold(ctx, value, pressure, field);
  const step = now !== null && now < 2 ? 0.5 : 1;
  const button = (/** @type {string} */ sign, /** @type {string} */ words, /** @type {number} */ by) => el("button", { class: "button step", type: "button", text: sign, "aria-label": words, onclick: () => keep(Math.max((typedNumber(field.value) ?? 0) + by, LEAST)) });
  return el("form", { class: "stepper", novalidate: true, onsubmit: (/** @type {Event} */ event) => {
    event.preventDefault();
    keep(typedNumber(field.value) ?? Number.NaN);
  } },
  el("label", { for: "threshold", text: say("pressure.threshold") }),
  el("span", { class: "stepper-row" }, button("−", say("pressure.less"), -step), field, button("+", say("pressure.more"), step), el("span", { class: "quiet", text: say("pressure.aBeat") })),
  now === null && el("p", { class: "quiet", text: say("pressure.thresholdMissing", { counts: say(`pressure.${held.counts ?? pressure.counted}`), taps: held.standard_taps ?? pressure.standard_taps }) }),
  el("p", { class: "caution slim", id: "threshold-yours" }, el("strong", { text: say("pressure.yours") }), ` ${say("pressure.nonePublished")}`));
}

/** @param {any} ctx @param {number} value @param {any} pressure @param {HTMLInputElement} field */
async function keepThreshold(ctx, value, pressure, field) {
  if (!(value > 0)) {
    field.setAttribute("aria-invalid", "true");
    return ctx.fail(new Error(say("pressure.thresholdNumber")));
  }
  if (value === pressure.threshold_per_beat) return undefined;
  const { api, state } = ctx;
  try {
    const held = await api.get("facts/threshold");
    const given = { per_beat: value, counts: held.values.counts ?? pressure.counted, standard_taps: held.values.standard_taps ?? pressure.standard_taps };
    await api.patch("facts/threshold", given, { ifMatch: held.version });
    ctx.saved(`${say("pressure.threshold")}: ${number(value)}.`);
    await ctx.reload("facts", "pressure", "summary", "grove");
    state.set({ options: null });
    announce(`${say("pressure.threshold")}: ${number(value)}`);
    document.getElementById("threshold")?.focus();
  } catch (error) {
    ctx.fail(error);
  }
  return undefined;
}
