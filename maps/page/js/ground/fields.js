// @ts-check
/** Fields of Ground's forms: a label, a typed value, its unit, and what is odd about it said beside it. */
import { el } from "../dom.js";
import { number, typedNumber } from "../format.js";
import { say } from "../words.js";

/**
 * A field with its label.
 * @param {{id: string, label: string, value?: any, unit?: string, hint?: string, type?: string, list?: [string, string][], options?: [string, string][], wide?: boolean, [more: string]: any}} given
 * @returns {{row: HTMLElement, input: any}}
 */
export function field({ id, label, value = "", unit, hint, type = "text", list, options, wide, ...more }) {
  const described = hint ? `${id}-hint` : null;
  const input = options
    ? el("select", { id, name: id, "aria-describedby": described, ...more }, ...options.map(([key, words]) => el("option", { value: key, text: words })))
    : el("input", { id, name: id, type, autocomplete: "off", "aria-describedby": described, list: list ? `${id}-list` : null, ...more });
  input.value = value === null || value === undefined ? "" : String(value);
  const row = el("div", { class: wide ? "field wide" : "field" }, el("label", { for: id, text: label }),
    unit ? el("span", { class: "with-unit" }, input, el("span", { class: "quiet", text: unit })) : input,
    hint ? el("p", { class: "quiet", id: described, text: hint }) : null,
    list ? el("datalist", { id: `${id}-list` }, ...list.map(([key, words]) => el("option", { value: key, text: words }))) : null);
  return { row, input };
}

/**
 * A number that is typed or stepped.
 * @param {{id: string, label: string, value: number | null, unit: string, step: number, least: number, most: number, round?: boolean, change: (value: number | null) => void}} given `round`: past the most it goes on at the least.
 * @returns {{row: HTMLElement, input: any, set(value: number | null): void, value(): number | null}}
 */
export function stepper({ id, label, value, unit, step, least, most, round = false, change }) {
  const input = el("input", { id, name: id, inputmode: "decimal", autocomplete: "off", class: "ground-number" });
  const shown = (/** @type {number | null} */ n) => { input.value = n === null ? "" : number(n); };
  const fitting = (/** @type {number} */ n) => (round ? ((n % most) + most) % most : Math.max(least, Math.min(most, n)));
  const read = () => typedNumber(input.value);
  const by = (/** @type {number} */ sign) => {
    const now = read() ?? value ?? least;
    const next = fitting(Math.round((now + sign * step) * 100) / 100);
    shown(next);
    mark(true);
    change(next);
  };
  const mark = (/** @type {boolean} */ good) => (good ? input.removeAttribute("aria-invalid") : input.setAttribute("aria-invalid", "true"));
  input.addEventListener("input", () => {
    const n = read();
    const good = n === null ? input.value.trim() === "" : n >= least && n <= most;
    mark(good);
    if (good) change(n);
  });
  input.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
    if (event.key !== "ArrowUp" && event.key !== "ArrowDown") return;
    event.preventDefault();
    by(event.key === "ArrowUp" ? 1 : -1);
  });
  shown(value);
  const sign = (/** @type {string} */ text, /** @type {string} */ words, /** @type {number} */ way) => el("button", { class: "button sign", type: "button", text, "aria-label": `${label}: ${words}`, onclick: () => by(way) });
  const row = el("div", { class: "ground-stepper" }, el("label", { for: id, text: label }),
    el("span", { class: "ground-steps" }, sign("\u2212", say("ground.less"), -1), input, sign("+", say("ground.more"), 1), el("span", { class: "quiet unit", text: unit })));
  return { row, input, set: shown, value: read };
}

/** One of a few, as a row of segments. @param {string} name @param {string} legend @param {[string, string][]} options @param {string} value @param {(value: string) => void} change */
export function segments(name, legend, options, value, change) {
  return el("fieldset", { class: "segments ground-segments" }, el("legend", { text: legend }), ...options.map(([key, words]) =>
    el("label", {}, el("input", { type: "radio", name, value: key, checked: key === value, onchange: () => change(key) }), el("span", { text: words }))));
}

/** @param {string} text @param {() => void} onclick @param {string} [kind] "main", "plain", "" @param {Record<string, any>} [more] */
export function button(text, onclick, kind = "", more = {}) {
  return el("button", { class: `button ${kind}`.trim(), type: "button", text, onclick, ...more });
}
