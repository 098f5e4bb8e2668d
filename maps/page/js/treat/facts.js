// @ts-check
/** What only the grower knows: sprayer, label, prices. A form of each, from the fields that the service names. */
import { el, mount } from "../dom.js";
import { number, typedNumber } from "../format.js";
import { say } from "../words.js";

export const FACTS = ["threshold", "sprayer", "label", "prices"];

/** @param {any} ctx @param {any} facts GET …/facts @param {() => Promise<void>} changed */
export function drawFacts(ctx, facts, changed) {
  return el("section", { class: "facts" }, el("h2", { text: say("treat.facts") }), ...FACTS.map((name) => part(ctx, name, facts, changed)));
}

/** @param {any} ctx @param {string} name @param {any} facts @param {() => Promise<void>} changed */
function part(ctx, name, facts, changed) {
  const lacks = facts.missing.filter((/** @type {string} */ words) => words.includes(`(${name}:`)).length;
  const body = el("div", { class: "facts-body" });
  const box = el("details", { class: "facts-part", open: lacks > 0 && facts.missing.length < 8, data: { facts: name } },
    el("summary", {}, say(`treat.facts.${name}`), lacks > 0 && el("span", { class: "quiet", text: ` ${number(lacks)} ${say("treat.notTyped")}` })), body);
  const load = async () => {
    if (body.childElementCount) return;
    try {
      const held = await ctx.api.get(`facts/${name}`);
      mount(body, form(ctx, name, held, changed));
    } catch (error) {
      ctx.fail(error);
    }
  };
  box.addEventListener("toggle", () => box.open && load());
  if (box.open) load();
  return box;
}

/** @param {any} ctx @param {string} name @param {any} held GET …/facts/{name} @param {() => Promise<void>} changed */
function form(ctx, name, held, changed) {
  const inputs = held.fields.map((/** @type {any} */ field) => ({ field, input: inputOf(name, field, held.values[field.field]) }));
  return el("form", { class: "facts-form", novalidate: true, onsubmit: async (/** @type {Event} */ event) => {
    event.preventDefault();
    /** @type {Record<string, any>} */
    const given = {};
    for (const { field, input } of inputs) {
      const was = held.values[field.field];
      const typed = input.value.trim();
      if (typed === (was === null || was === undefined ? "" : String(was))) continue;
      const value = typed === "" ? null : isNumber(field, was) ? typedNumber(typed) : typed;
      if (typed !== "" && value === null) {
        input.setAttribute("aria-invalid", "true");
        return ctx.fail(new Error(say("treat.numberWanted", { field: field.words })));
      }
      given[field.field] = value;
    }
    try {
      await ctx.api.patch(`facts/${name}`, given, { ifMatch: held.version });
      ctx.saved(`${say(`treat.facts.${name}`)}.`);
      await changed();
    } catch (error) {
      ctx.fail(error);
    }
    return undefined;
  } }, ...inputs.map((/** @type {any} */ { field, input }) => el("p", { class: "field" }, el("label", { for: input.id, text: sentence(field.words) }), el("span", { class: "with-unit" }, input, field.unit && el("span", { class: "quiet", text: field.unit })))),
  el("button", { class: "button", type: "submit", text: say("treat.keepFacts") }));
}

/** @param {any} field @param {any} was */
function isNumber(field, was) {
  return typeof was === "number" || Boolean(field.unit) || ["number", "integer"].includes(field.kind ?? "");
}

/** @param {string} name @param {any} field @param {any} value */
function inputOf(name, field, value) {
  const id = `${name}-${field.field}`;
  const now = value === null || value === undefined ? "" : String(value);
  if (field.allowed?.length) {
    const none = el("option", { value: "", text: say("treat.notTyped") });
    const select = el("select", { id }, none, ...field.allowed.map((/** @type {string} */ word) => el("option", { value: word, text: word.replaceAll("_", " ") })));
    select.value = now;
    return select;
  }
  return el("input", { id, value: now, autocomplete: "off", inputmode: field.unit ? "decimal" : "text" });
}

/** @param {string} words */
function sentence(words) {
  return words.slice(0, 1).toUpperCase() + words.slice(1);
}
