// @ts-check
/** A shared service knows a device only after it was paired: one field, the code that the grove computer shows. */
import { api } from "./api.js";
import { el, focus, mount } from "./dom.js";
import { say } from "./words.js";

/** @param {HTMLElement} sheet */
export function askForCode(sheet) {
  const code = el("input", { id: "pair-code", name: "code", autocomplete: "one-time-code", required: true });
  const name = el("input", { id: "pair-name", name: "name", value: navigator.platform || "" });
  const told = el("p", { role: "alert" });
  const send = async (/** @type {Event} */ event) => {
    event.preventDefault();
    if (!code.value.trim()) return void (told.textContent = say("pair.missing"));
    try {
      await api.root("pair", { method: "POST", body: { code: code.value.trim(), name: name.value.trim() || "device" } });
      location.reload();
    } catch (error) {
      told.textContent = `${say("pair.wrong")} ${error instanceof Error ? error.message : ""}`;
    }
  };
  mount(sheet, el("form", { class: "sheet-body", onsubmit: send }, el("h1", { text: say("pair.title") }), el("p", { class: "lead", text: say("pair.lead") }),
    el("p", { class: "field" }, el("label", { for: "pair-code", text: say("pair.code") }), code),
    el("p", { class: "field" }, el("label", { for: "pair-name", text: say("pair.name") }), name), told,
    el("button", { class: "button main", type: "submit", text: say("pair.go") })));
  focus(code);
}
