// @ts-check
/**
 * The places to work in, and going from one to another. A place's module is loaded when it is first entered and exports
 * `class Sheet { constructor(element, ctx); enter(); leave(); }`.
 *
 * @typedef {{state: typeof import("./state.js").state, api: typeof import("./api.js").api, plan: import("./plan/plan.js").Plan,
 *   reload: (...keys: string[]) => Promise<void>, saved: (words: string) => void, saving: (words: string) => void, fail: (error: any) => void,
 *   go: (name: string) => void}} Context
 * @typedef {{enter(): void | Promise<void>, leave(): void}} SheetLike
 * @typedef {{title: string, load: () => Promise<{Sheet: new (element: HTMLElement, ctx: any) => SheetLike}>}} Place
 */
import { el } from "./dom.js";

/** @type {Map<string, Place>} */
const places = new Map();

/** Give a place a door. @param {string} name @param {Place} place */
export function registerPlace(name, place) {
  places.set(name, place);
}

/** @returns {string[]} */
export function placeNames() {
  return [...places.keys()];
}

/** @param {string} name */
export function placeTitle(name) {
  return places.get(name)?.title ?? "";
}

/** Keeps one sheet for each place that was entered and shows the one that is current. */
export class Places {
  /** @param {HTMLElement} element Where sheets stand. @param {any} ctx */
  constructor(element, ctx) {
    this.element = element;
    this.ctx = ctx;
    /** @type {Map<string, {body: HTMLElement, sheet: SheetLike}>} */
    this.made = new Map();
    /** @type {string | null} */
    this.current = null;
    this.asked = 0;
  }

  /** Leave the place that is shown and enter another. @param {string} name */
  async go(name) {
    const place = places.get(name);
    if (!place || name === this.current) return;
    const asked = ++this.asked;
    let entry = this.made.get(name);
    if (!entry) {
      const module = await place.load();
      if (asked !== this.asked) return;
      const body = el("div", { class: "sheet-body", data: { place: name }, hidden: true });
      this.element.append(body);
      entry = { body, sheet: new module.Sheet(body, this.ctx) };
      this.made.set(name, entry);
    }
    const before = this.current ? this.made.get(this.current) : undefined;
    if (before) {
      before.sheet.leave();
      before.body.hidden = true;
    }
    this.current = name;
    entry.body.hidden = false;
    this.element.scrollTop = 0;
    await entry.sheet.enter();
  }
}
