// @ts-check
/** Ground: for now the sentence of an empty grove; the drawing follows. */
import { el, mount } from "../dom.js";
import { say } from "../words.js";

export class Sheet {
  /** @param {HTMLElement} element @param {any} ctx */
  constructor(element, ctx) {
    this.element = element;
    this.ctx = ctx;
  }

  enter() {
    mount(this.element, el("h1", { text: say("place.ground") }));
  }

  leave() {}
}
