// @ts-check
/** A band of the hill: drag over the profile, hold Shift with the arrow keys, or type its two ends; rows outside it fade on the map. */
import { announce, el, mount, svg } from "../dom.js";
import { number, typedNumber } from "../format.js";
import { say } from "../words.js";

const LEAST_PX = 6;

/** @typedef {{from: number, to: number}} Range Metres upslope. */

export class Band {
  /** @param {any} state @param {() => import("./scale.js").Scale | null} scale */
  constructor(state, scale) {
    this.state = state;
    this.scale = scale;
    /** Where a drag began [px], null for none. @type {number | null} */
    this.start = null;
    this.dragged = false;
    this.from = el("input", { class: "run-end", inputmode: "decimal", autocomplete: "off", id: "band-from", "aria-label": say("band.from") });
    this.to = el("input", { class: "run-end", inputmode: "decimal", autocomplete: "off", id: "band-to", "aria-label": say("band.to") });
    this.form = el("form", { class: "band-form", hidden: true, onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); this.typed(); } },
      el("span", { text: say("band.rows") }), this.from, el("span", { text: say("band.and") }), this.to, el("span", { text: "m" }),
      el("button", { class: "button small", type: "submit", text: say("band.keep") }), el("button", { class: "button small", type: "button", text: say("band.clear"), onclick: () => this.set(null) }));
    this.opener = el("button", { class: "button small", type: "button", "aria-expanded": "false", text: say("band.open"), onclick: () => this.open(this.form.hidden) });
    this.head = el("div", { class: "band" }, this.opener, this.form);
  }

  /** @param {boolean} open */
  open(open) {
    this.form.hidden = !open;
    this.opener.hidden = open;
    if (open) this.from.focus();
  }

  typed() {
    const [one, other] = [typedNumber(this.from.value), typedNumber(this.to.value)];
    if (one === null || other === null) return announce(say("band.numbers"));
    return this.set({ from: Math.min(one, other), to: Math.max(one, other) });
  }

  /** @param {Range | null} range */
  set(range) {
    const had = document.activeElement && this.form.contains(document.activeElement);
    this.state.set({ band: range });
    this.told(range);
    if (!range && had) this.opener.focus();
    announce(range ? say("band.set", { from: number(range.from, 0), to: number(range.to, 0) }) : say("band.cleared"));
  }

  /** The fields say what the band is, whoever set it. @param {Range | null} range */
  told(range) {
    for (const [field, value] of /** @type {[any, number | undefined][]} */ ([[this.from, range?.from], [this.to, range?.to]])) field.value = value === undefined ? "" : number(value, 0);
    this.form.hidden = !range;
    this.opener.hidden = Boolean(range);
  }

  /** @param {PointerEvent} event @param {number} x Pixels of the profile. */
  down(event, x) {
    if (event.button !== 0 || event.pointerType === "touch") return;
    this.start = x;
    this.dragged = false;
    /** @type {HTMLElement} */ (event.currentTarget).setPointerCapture(event.pointerId);
  }

  /** @param {number} x @returns {boolean} Whether a band is being drawn. */
  move(x) {
    const scale = this.scale();
    if (this.start === null || !scale) return false;
    if (!this.dragged && Math.abs(x - this.start) < LEAST_PX) return false;
    this.dragged = true;
    const ends = [scale.metres(this.start), scale.metres(x)].map((metres) => Math.min(Math.max(metres, scale.from), scale.to));
    this.state.set({ band: { from: Math.min(...ends), to: Math.max(...ends) } });
    return true;
  }

  up() {
    if (this.dragged) this.set(this.state.get("band"));
    this.start = null;
  }

  /** The veil over what lies outside. @param {SVGElement} group */
  draw(group) {
    const scale = this.scale();
    const range = this.state.get("band");
    mount(/** @type {any} */ (group));
    if (!scale || !range) return;
    const [from, to] = [Math.max(scale.x(range.from), scale.left), Math.min(scale.x(range.to), scale.right)];
    group.append(svg("rect", { class: "band-veil", x: scale.left - 8, y: 0, width: Math.max(from - scale.left + 8, 0), height: scale.foot }), svg("rect", { class: "band-veil", x: to, y: 0, width: Math.max(scale.right - to, 0), height: scale.foot }),
      ...[from, to].map((x) => svg("line", { class: "band-edge", x1: x, x2: x, y1: 0, y2: scale.foot })));
  }

  /** Shift with an arrow: the band grows from the row that is shown. @param {string} key @param {number} metres Of the row the key led to. @param {number} from Of the row before. */
  stretch(key, metres, from) {
    const range = this.state.get("band") ?? { from: Math.min(from, metres), to: Math.max(from, metres) };
    this.set(key === "ArrowRight" ? { from: range.from, to: Math.max(metres, range.from) } : { from: Math.min(metres, range.to), to: range.to });
  }
}
