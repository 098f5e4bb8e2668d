// @ts-check
/** What truly needs the service says so on the button itself while the service does not answer. */
import { el } from "./dom.js";
import { say } from "./words.js";

/** @param {boolean} offline @param {HTMLElement} button */
function word(offline, button) {
  const { words = "", needs = "" } = button.dataset;
  button.textContent = offline ? say("needsService", { what: needs }) : words;
}

/** @param {typeof import("./state.js").state} state @param {string} words @param {() => void} act @param {string} needs What it needs the service for, as it goes on after a colon. @param {string} [kind] */
export function serviceButton(state, words, act, needs, kind = "button") {
  const button = el("button", { class: kind, type: "button", data: { words, needs }, onclick: act });
  word(Boolean(state.get("offline")), button);
  return button;
}

/** Keep the words of all such buttons true. @param {typeof import("./state.js").state} state */
export function watchService(state) {
  state.on("offline", (offline) => { for (const button of document.querySelectorAll("[data-needs]")) word(Boolean(offline), /** @type {HTMLElement} */ (button)); });
}
