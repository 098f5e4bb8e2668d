// @ts-check
/** The service worker that lets the page open with the network off, and how a newer page is taken: never under the grower's hands, only when asked. */
import { el } from "./dom.js";
import { say } from "./words.js";

/** @param {HTMLElement} sheet Where it is said that a newer page is ready. */
export function startWorker(sheet) {
  if (!("serviceWorker" in navigator) || !isSecureContext) return;
  const { serviceWorker } = navigator;
  const kept = Boolean(serviceWorker.controller);
  let asked = false;
  addEventListener("load", async () => {
    const registration = await serviceWorker.register("/sw.js", { scope: "/", updateViaCache: "none" }).catch(() => undefined);
    if (!registration) return;
    const offer = () => {
      const { waiting } = registration;
      if (waiting) tell(sheet, () => { asked = true; waiting.postMessage("use"); });
    };
    if (serviceWorker.controller) offer();
    registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", () => serviceWorker.controller && offer()));
  });
  serviceWorker.addEventListener("controllerchange", () => {
    if (asked) location.reload();
    // Another window took the newer page: this one still runs the older.
    else if (kept) tell(sheet, () => location.reload());
  });
}

/** @param {HTMLElement} sheet @param {() => void} use */
function tell(sheet, use) {
  sheet.querySelector(".newer")?.remove();
  sheet.prepend(el("div", { class: "note newer", role: "status" }, el("p", { text: say("app.newVersion") }),
    el("p", { class: "buttons" }, el("button", { class: "button", type: "button", text: say("app.update"), onclick: use }))));
}
