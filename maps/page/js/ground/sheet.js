// @ts-check
/** Ground: draw, walk or bring blocks; rows and trees appear at once; keep-outs, uphill, undo. One thing at a time stands in the sheet. */
import { announce, el, focus, mount } from "../dom.js";
import { say } from "../words.js";
import { changedMeanwhile } from "./conflict.js";
import { Drawing } from "./drawing.js";
import { Grips } from "./grips.js";
import { Overlay } from "./overlay.js";

/** @typedef {{element: HTMLElement, title: string, leave?(): void, focus?: any}} View
 * @typedef {(ground: Sheet, given: any) => View | Promise<View>} Open */

/** @type {Record<string, () => Promise<{open: Open}>>} */
const VIEWS = {
  first: () => import("./first.js"),
  newgrove: () => import("./newgrove.js"),
  list: () => import("./list.js"),
  draw: () => import("./drawview.js"),
  blocknew: () => import("./blocknew.js"),
  block: () => import("./blockview.js"),
  reshape: () => import("./reshape.js"),
  split: () => import("./split.js"),
  keepout: () => import("./keepout.js"),
  point: () => import("./point.js"),
  uphill: () => import("./uphill.js"),
  walk: () => import("./walkround.js"),
  bring: () => import("./bring.js"),
};
/** Views that have something unkept to lose: a change of the ground from elsewhere does not throw them out. */
const LASTING = ["first", "list"];

export class Sheet {
  /** @param {HTMLElement} element @param {any} ctx */
  constructor(element, ctx) {
    this.element = element;
    this.ctx = ctx;
    this.state = ctx.state;
    this.api = ctx.api;
    this.plan = ctx.plan;
    this.overlay = new Overlay(ctx.plan);
    this.grips = new Grips(ctx.plan);
    this.drawing = new Drawing(ctx, this.overlay);
    /** @type {View | null} */
    this.view = null;
    this.name = "";
    /** @type {any[]} */
    this.pointFeatures = [];
    this.asked = 0;
    this.here = false;
    this.dropping();
    // What was missing is being typed: the box that says so has done its work.
    element.addEventListener("input", () => document.querySelector("#sheet .failed")?.remove());
    this.state.on("blocks", () => { if (this.here && LASTING.includes(this.name)) this.home(false); });
  }

  async enter() {
    this.here = true;
    await this.home(false);
  }

  leave() {
    this.here = false;
    this.put();
    this.name = "";
  }

  /** Put away what stands in the sheet and on the map. */
  put() {
    this.view?.leave?.();
    this.view = null;
    this.drawing.stop();
    this.overlay.clear();
    this.plan.hide(null);
  }

  /** The list of blocks, or the first screen. @param {boolean} [focused] */
  home(focused = true) {
    const drawn = (this.state.get("blocks")?.features ?? []).length > 0 || (this.state.get("keepOuts")?.features ?? []).length > 0;
    return this.show(drawn ? "list" : "first", {}, focused);
  }

  /** @param {string} name @param {any} [given] @param {boolean} [focused] Move the keyboard to the new title. */
  async show(name, given = {}, focused = true) {
    const asked = ++this.asked;
    const { open } = await VIEWS[name]();
    if (asked !== this.asked || !this.here) return;
    this.put();
    this.name = name;
    document.querySelector("#sheet .failed")?.remove();
    try {
      const view = await open(this, given);
      if (asked !== this.asked) return;
      this.view = view;
      this.element.dataset.view = name;
      mount(this.element, view.element);
      if (!focused) return;
      const scroller = this.element.closest("#sheet");
      if (scroller) scroller.scrollTop = 0;
      focus(view.focus ?? view.element.querySelector("h1"));
    } catch (error) {
      this.ctx.fail(error);
    }
  }

  /** @param {string} title @param {...any} children */
  page(title, ...children) {
    return el("div", { class: "ground-view" }, el("h1", { text: title, tabindex: "-1" }), ...children);
  }

  /** The way back to the list, without keeping anything. @param {string} [words] */
  back(words = say("ground.back")) {
    return el("button", { class: "button plain", type: "button", text: words, onclick: () => this.home() });
  }

  /** Whether the one who looks may change the ground. */
  get mayEdit() {
    return (this.state.get("grove")?.role ?? "owner") === "owner";
  }

  /**
   * Change something; when another window was first, show theirs or keep ours.
   * @template T
   * @param {string} version The version that was seen.
   * @param {(version: string) => Promise<T>} send
   * @param {(answer: T) => Promise<void> | void} done
   */
  async change(version, send, done) {
    try {
      await done(await this.busy(send(version)));
    } catch (error) {
      changedMeanwhile(this, error, send, done);
    }
  }

  /** While the service works: the status line says so, once it takes longer than a blink. @template T @param {Promise<T>} promise @returns {Promise<T>} */
  async busy(promise) {
    this.element.dataset.working = "true";
    const told = setTimeout(() => this.ctx.saving(say("ground.working")), 300);
    try {
      return await promise;
    } catch (error) {
      this.state.set({ saving: null });
      throw error;
    } finally {
      clearTimeout(told);
      delete this.element.dataset.working;
    }
  }

  /** Something was kept: say so, read the ground anew, go where is best. @param {string} words @param {() => any} [then] */
  async kept(words, then) {
    await this.busy(this.ctx.reload());
    this.ctx.saved(words);
    await (then ? then() : this.home());
  }

  /** A file dropped on the sheet or the map is brought in. */
  dropping() {
    for (const target of [this.element, this.plan.element]) {
      target.addEventListener("dragover", (/** @type {DragEvent} */ event) => {
        if (!this.here || !event.dataTransfer?.types.includes("Files")) return;
        event.preventDefault();
        document.body.dataset.dropping = "true";
      });
      target.addEventListener("dragleave", () => delete document.body.dataset.dropping);
      target.addEventListener("drop", (/** @type {DragEvent} */ event) => {
        delete document.body.dataset.dropping;
        const file = event.dataTransfer?.files[0];
        if (!this.here || !file) return;
        event.preventDefault();
        announce(say("ground.dropped", { name: file.name }));
        this.bring(file);
      });
    }
  }

  /** Gates and refill points, read where the service knows them. @returns {Promise<boolean>} Whether it does. */
  async readPoints() {
    if (!this.state.get("grove")) return false;
    try {
      this.pointFeatures = (await this.api.get("points")).features;
    } catch {
      return false;
    }
    this.overlay.set({ points: this.points() });
    return true;
  }

  /** @returns {{at: [number, number], name: string, letter?: boolean}[]} */
  points() {
    return (this.pointFeatures ?? []).map((one) => ({ at: one.geometry.coordinates, name: one.properties.name || say(`ground.point.${one.properties.kind}`) }));
  }

  /** @param {File | null} [file] */
  bring(file = null) {
    return this.state.get("grove") ? this.show("bring", { file }) : this.show("newgrove", { file, then: ["bring", { file }] });
  }
}
