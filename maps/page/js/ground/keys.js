// @ts-check
/** Drawing without a pointer: a cross that the arrows move and Enter sets; corners that are chosen and moved. Each step is spoken. */
import { announce } from "../dom.js";
import { area, number } from "../format.js";
import { say } from "../words.js";
import { areaHa, bearingDeg, frameAt, lengthM, toDegrees, toMetres } from "./geo.js";

/** @typedef {import("./geo.js").LonLat} LonLat */
const ARROWS = /** @type {Record<string, [number, number]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] });

/** @param {LonLat} at @param {[number, number]} way @param {number} metres @returns {LonLat} */
export function shifted(at, [east, north], metres) {
  const frame = frameAt(...at);
  const [x, y] = toMetres(frame, at);
  return toDegrees(frame, [x + east * metres, y + north * metres]);
}

export class Keys {
  /** @param {import("./drawing.js").Drawing} drawing */
  constructor(drawing) {
    this.drawing = drawing;
    /** @type {LonLat | null} */
    this.cross = null;
    this.chosen = 0;
    this.heard = (/** @type {KeyboardEvent} */ event) => this.key(event);
  }

  listen() {
    this.cross = null;
    this.chosen = 0;
    this.drawing.plan.element.addEventListener("keydown", this.heard, { capture: true });
  }

  deaf() {
    this.drawing.plan.element.removeEventListener("keydown", this.heard, { capture: true });
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || /** @type {Element} */ (event.target).closest("button, input, select")) return;
    const metres = event.shiftKey ? 10 : 1;
    const taken = this.drawing.mode === "draw" ? this.drawKey(event.key, metres) : this.editKey(event.key, metres);
    if (!taken) return;
    event.preventDefault();
    event.stopPropagation();
  }

  /** @param {string} key @param {number} metres */
  drawKey(key, metres) {
    const { drawing } = this;
    if (ARROWS[key]) this.moveCross(ARROWS[key], metres);
    else if (key === "Enter" || key === " ") this.setCorner(this.cross ?? this.middle());
    else if (key === "Backspace" || key === "Delete") announce(drawing.undoCorner() ? say("ground.cornerBack", { n: Math.max(0, drawing.corners.length) }) : say("ground.noCorner"));
    else if (key === "c" || key === "C") this.finish();
    else if (key === "Escape") drawing.draws?.stop();
    else return /^(Page|Home|End)/.test(key);
    return true;
  }

  finish() {
    const wanted = this.drawing.finish();
    if (wanted > 0) announce(say("ground.cornersWanted", { n: wanted }));
    return wanted;
  }

  /** @returns {LonLat} */
  middle() {
    const { lng, lat } = this.drawing.map.getCenter();
    return [lng, lat];
  }

  /** @param {[number, number]} way @param {number} metres */
  moveCross(way, metres) {
    const { drawing } = this;
    this.cross = this.cross ? shifted(this.cross, way, metres) : drawing.corners.at(-1) ?? this.middle();
    drawing.cursor = this.cross;
    this.see(this.cross);
    drawing.overlay.set({ cross: this.cross });
    drawing.told();
    const last = drawing.corners.at(-1);
    announce(last ? say("ground.crossFrom", { m: number(lengthM(last, this.cross), 0), deg: number(bearingDeg(last, this.cross), 0) }) : say("ground.crossMoved"));
  }

  /** @param {LonLat} at */
  setCorner(at) {
    const { drawing } = this;
    const last = drawing.corners.at(-1);
    this.cross = at;
    drawing.overlay.set({ cross: at });
    drawing.set(at);
    const { corners } = drawing;
    if (!corners.length) return;
    announce(last ? say("ground.cornerSet", { n: corners.length, m: number(lengthM(last, at), 0), ha: area(areaHa(corners)) }) : say("ground.firstCorner"));
  }

  /** @param {string} key @param {number} metres */
  editKey(key, metres) {
    const { drawing } = this;
    const { corners } = drawing;
    const n = corners.length;
    if (key === "PageDown" || key === "PageUp") this.choose((this.chosen + (key === "PageDown" ? 1 : n - 1)) % n);
    else if (ARROWS[key] && drawing.moving) drawing.replace(corners.map((at) => shifted(at, ARROWS[key], metres)));
    else if (ARROWS[key]) this.moveCorner(shifted(corners[this.chosen], ARROWS[key], metres));
    else if (key === "Delete" || key === "Backspace") this.removeCorner();
    else if (key === "Insert") this.addCorner();
    else return /^(Home|End)/.test(key);
    return true;
  }

  /** @param {number} index */
  choose(index) {
    this.chosen = index;
    const at = this.drawing.corners[index];
    this.see(at);
    this.drawing.overlay.set({ corner: at });
    announce(say("ground.cornerChosen", { n: index + 1, of: this.drawing.corners.length }));
  }

  /** @param {LonLat} at */
  moveCorner(at) {
    const { corners } = this.drawing;
    corners[this.chosen] = at;
    this.drawing.replace(corners);
    this.drawing.overlay.set({ corner: at });
    const before = corners[(this.chosen + corners.length - 1) % corners.length];
    const after = corners[(this.chosen + 1) % corners.length];
    announce(say("ground.cornerMoved", { a: number(lengthM(before, at), 0), b: number(lengthM(at, after), 0), ha: area(areaHa(corners)) }));
  }

  removeCorner() {
    const { corners } = this.drawing;
    if (corners.length <= 3) return announce(say("ground.threeLeast"));
    corners.splice(this.chosen, 1);
    this.drawing.replace(corners);
    return this.choose(Math.min(this.chosen, corners.length - 1));
  }

  /** A new corner halfway to the next one. */
  addCorner() {
    const { corners } = this.drawing;
    const [a, b] = [corners[this.chosen], corners[(this.chosen + 1) % corners.length]];
    corners.splice(this.chosen + 1, 0, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]);
    this.drawing.replace(corners);
    this.choose(this.chosen + 1);
  }

  /** Keep what is moved in view. @param {LonLat} at */
  see(at) {
    const v = this.drawing.plan.view();
    const [x, y] = this.drawing.overlay.pixel(at, v);
    if (x < 30 || y < 30 || x > v.width - 30 || y > v.height - 30) this.drawing.map.panBy([x - v.width / 2, y - v.height / 2], { animate: false });
  }
}
