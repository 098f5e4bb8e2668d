// @ts-check
/** What a small screen folds: profile and year line as tabs of one strip, the sheet as a drawer with three rests. */
import { byId, el, mount } from "./dom.js";
import { say } from "./words.js";

const STRIPS = ["profile", "yearline"];
const RESTS = ["title", "half", "full"];

/** On a phone the profile and the year line are two tabs of one strip; pressed again it folds. */
export function stripTabs() {
  const tabs = STRIPS.map((name) => el("button", { type: "button", text: say(`strip.${name}`), "aria-expanded": "false", "aria-controls": name, onclick: () => {
    document.body.dataset.strip = document.body.dataset.strip === name ? "" : name;
    tabs.forEach((tab, i) => tab.setAttribute("aria-expanded", String(document.body.dataset.strip === STRIPS[i])));
  } }));
  mount(byId("strip-tabs"), ...tabs);
}

/** On a middling screen the sheet lies under the instruments: its title, half of the screen, or most of it. */
export function drawerTabs() {
  const tabs = el("div", { id: "drawer-tabs" }, el("fieldset", { class: "segments" }, el("legend", { class: "unseen", text: say("drawer.label") }),
    ...RESTS.map((name) => el("label", {}, el("input", { type: "radio", name: "drawer", value: name, checked: name === "half", onchange: () => { document.body.dataset.drawer = name; } }), el("span", { text: say(`drawer.${name}`) })))));
  byId("sheet").before(tabs);
  return tabs;
}
