// @ts-check
/** Day, night and sun: what the device asks for, unless the grower says otherwise. */
import { el } from "./dom.js";
import { say } from "./words.js";

const CHOICES = ["auto", "light", "dark", "sun"];
const dark = matchMedia("(prefers-color-scheme: dark)");
const contrast = matchMedia("(prefers-contrast: more)");

/** @param {typeof import("./state.js").state} state */
function apply(state) {
  const asked = localStorage.getItem("light") ?? "auto";
  const light = asked !== "auto" ? asked : contrast.matches ? "sun" : dark.matches ? "dark" : "light";
  document.documentElement.dataset.light = light;
  state.set({ light });
}

/** @param {typeof import("./state.js").state} state */
export function startLight(state) {
  apply(state);
  for (const query of [dark, contrast]) query.addEventListener("change", () => apply(state));
}

/** The switch. @param {typeof import("./state.js").state} state */
export function lightSwitch(state) {
  const now = localStorage.getItem("light") ?? "auto";
  return el("fieldset", { class: "segments light" }, el("legend", { text: say("light.label") }),
    ...CHOICES.map((name) => el("label", {}, el("input", { type: "radio", name: "light", value: name, checked: name === now, onchange: () => { localStorage.setItem("light", name); apply(state); } }), el("span", { text: say(`light.${name}`) }))));
}
