// @ts-check
/** Where a thing failed: a caution box at the head of the sheet with what, why and one way on. Nothing else on the page changes. */
import { el } from "./dom.js";
import { Problem } from "./problem.js";
import { say } from "./words.js";

/** @param {HTMLElement} sheet @param {any} error @param {HTMLElement[]} [ways] Buttons that lead on. */
export function showProblem(sheet, error, ways = []) {
  sheet.querySelector(".failed")?.remove();
  const known = error instanceof Problem;
  const title = known ? error.title : error?.message ?? String(error);
  const lines = known ? [error.detail !== error.title ? error.detail : "", ...error.missing, ...error.problems.map((one) => `${one.at}: ${one.problem}`)].filter(Boolean) : [];
  const box = el("div", { class: "caution failed", role: "alert" }, el("p", {}, el("strong", { text: title })), ...lines.slice(0, 8).map((words) => el("p", { text: words })),
    el("p", { class: "buttons" }, ...ways, el("button", { class: "button", type: "button", text: say("problem.close"), onclick: () => box.remove() })));
  sheet.prepend(box);
  box.scrollIntoView({ block: "nearest" });
  return box;
}
