// @ts-check
/** Rows that are tried out: what is typed, stepped or dragged is laid by the service at once and shown, nothing is stored. */
import { el, mount } from "../dom.js";
import { area } from "../format.js";
import { Problem } from "../problem.js";
import { say } from "../words.js";
import { button, stepper } from "./fields.js";
import { areaHa, bearingOf, boxOf, cornersOf, frameAt, lineOf, longestEdgeDeg, middle, polygonOf, toDegrees, toMetres } from "./geo.js";
import { Latest } from "./latest.js";
import { arrowPx } from "./overlay.js";
import { dragged, hold, middleRow, rowUnder, wholeBearing } from "./rowdrag.js";

/** @typedef {import("./geo.js").LonLat} LonLat
 * @typedef {{row_bearing_deg: number | null, row_spacing_m: number | null, tree_spacing_m: number | null, headland_m: number | null, uphill_bearing_deg: number | null}} Facts */

/** Shown when nothing was typed yet, to be changed: usual in planted groves (common practice, no source). */
export const BEGIN = { row_spacing_m: 7, tree_spacing_m: 5, headland_m: 4 };

/** What the grower typed last stands where the new block has nothing yet. @param {any} ground @param {LonLat[]} corners @param {any} [own] @returns {Facts} */
export function factsFor(ground, corners, own = {}) {
  const features = ground.state.get("blocks")?.features ?? [];
  const last = features.at(-1)?.properties ?? {};
  const one = (/** @type {string} */ name) => own[name] ?? last[name] ?? /** @type {any} */ (BEGIN)[name] ?? null;
  return { row_bearing_deg: own.row_bearing_deg ?? wholeBearing(longestEdgeDeg(corners)), row_spacing_m: one("row_spacing_m"), tree_spacing_m: one("tree_spacing_m"), headland_m: one("headland_m"),
    uphill_bearing_deg: own.uphill_bearing_deg ?? ground.state.get("grove")?.uphill_bearing_deg ?? last.uphill_bearing_deg ?? null };
}

export class Trying {
  /** @param {any} ground @param {LonLat[]} corners @param {Facts} facts @param {LonLat[] | null} [line] Rows follow this line. */
  constructor(ground, corners, facts, line = null) {
    this.ground = ground;
    this.corners = corners;
    this.facts = facts;
    this.line = line;
    /** @type {any} */
    this.answer = null;
    /** @type {LonLat[][]} */
    this.mended = [];
    this.told = el("div", { class: "ground-told", role: "status", "aria-live": "polite" });
    this.latest = new Latest((given, signal) => ground.api.post("preview-rows", given, { signal }), (answer) => this.show(answer), (error) => this.refused(error));
    this.element = el("div", { class: "ground-trying" }, this.told, ...this.fields());
    this.off = [ground.grips.add((/** @type {any[]} */ ...at) => this.grip(.../** @type {[any, any, any]} */ (at))), ground.grips.add((/** @type {any[]} */ ...at) => this.arrowGrip(.../** @type {[any, any, any]} */ (at)))];
    this.refresh();
  }

  fields() {
    const change = (/** @type {keyof Facts} */ name) => (/** @type {number | null} */ value) => { this.facts[name] = value; this.refresh(); };
    const m = say("plan.metres");
    /** @type {Record<string, any>} */
    this.steppers = {
      row_bearing_deg: stepper({ id: "rows-bearing", label: say("ground.rows.bearing"), value: this.facts.row_bearing_deg, unit: "\u00b0", step: 1, least: 0, most: 360, round: true, change: change("row_bearing_deg") }),
      row_spacing_m: stepper({ id: "rows-spacing", label: say("ground.rows.spacing"), value: this.facts.row_spacing_m, unit: m, step: 0.1, least: 1, most: 50, change: change("row_spacing_m") }),
      tree_spacing_m: stepper({ id: "rows-trees", label: say("ground.rows.trees"), value: this.facts.tree_spacing_m, unit: m, step: 0.1, least: 0.5, most: 50, change: change("tree_spacing_m") }),
      headland_m: stepper({ id: "rows-headland", label: say("ground.rows.headland"), value: this.facts.headland_m, unit: m, step: 0.5, least: 0, most: 100, change: change("headland_m") }),
      uphill_bearing_deg: stepper({ id: "rows-uphill", label: say("ground.rows.uphill"), value: this.facts.uphill_bearing_deg, unit: "\u00b0", step: 5, least: 0, most: 360, round: true, change: change("uphill_bearing_deg") }),
    };
    if (this.line) this.steppers.row_bearing_deg.row.hidden = true;
    return Object.values(this.steppers).map(({ row }) => row);
  }

  /** @param {LonLat[]} corners */
  reshape(corners) {
    this.corners = corners;
    this.refresh();
  }

  /** @param {LonLat[] | null} line */
  follow(line) {
    this.line = line;
    this.steppers.row_bearing_deg.row.hidden = Boolean(line);
    this.refresh();
  }

  get complete() {
    return Object.entries(this.facts).every(([name, value]) => value !== null || (name === "uphill_bearing_deg"));
  }

  refresh() {
    const { overlay } = this.ground;
    const { facts, corners } = this;
    const [west, south, east, north] = boxOf(corners);
    overlay.set({ edges: { corners, closed: true }, lines: this.line ? [this.line] : [], preview: overlay.marks.preview && { ...overlay.marks.preview, stale: true },
      uphill: { foot: [west + 0.7 * (east - west), north + 0.08 * (north - south)], bearing: facts.uphill_bearing_deg ?? 0, known: facts.uphill_bearing_deg !== null } });
    if (!this.complete) {
      this.say([say("ground.rows.incomplete")]);
      return;
    }
    // Which end of the hill gets row 1 does not change where trees stand: rows show before uphill is said.
    const given = { geometry: polygonOf(corners), ...facts, uphill_bearing_deg: facts.uphill_bearing_deg ?? 0 };
    const { row_bearing_deg: _straight, ...along } = given;
    this.latest.want(this.line ? { ...along, line: lineOf(this.line) } : given);
  }

  /** @param {any} answer */
  show(answer) {
    this.answer = answer;
    const { longitude, latitude } = answer.columns;
    const rows = answer.rows.features.map((/** @type {any} */ one) => one.geometry.coordinates);
    this.ground.overlay.set({ mended: null, preview: { rows, fixed: Boolean(this.line), trees: longitude.map((/** @type {number} */ lon, /** @type {number} */ i) => [lon, latitude[i]]) } });
    const count = new Set(answer.columns.row).size;
    this.say([say("ground.rows.said", { n: answer.trees, rows: count, ha: area(answer.area_ha) })], true);
  }

  /** @param {string[]} words @param {boolean} [strong] @param {HTMLElement[]} [ways] */
  say(words, strong = false, ways = []) {
    mount(this.told, ...words.map((one) => el("p", { class: strong ? "ground-count" : "", text: one })), ways.length ? el("p", { class: "buttons" }, ...ways) : null);
  }

  /** @param {any} error */
  refused(error) {
    this.answer = null;
    const { overlay } = this.ground;
    overlay.set({ preview: null });
    const known = error instanceof Problem;
    const shape = known && error.mended ? cornersOf(error.mended) : null;
    const look = shape && button(say("ground.mended.look"), () => {
      overlay.set({ mended: shape });
      this.say([say("ground.mended.shown", { ha: area(areaHa(shape)) })], false, [button(say("ground.mended.take"), () => { overlay.set({ mended: null }); this.ground.drawing.replace(shape); }, "main", { id: "mended-take" }),
        button(say("ground.mended.leave"), () => { overlay.set({ mended: null }); this.refused(error); }, "", { id: "mended-leave" })]);
    }, "", { id: "mended-look" });
    this.say([known ? error.detail : error.message], false, look ? [look] : []);
  }

  /** @returns {import("./geo.js").Frame} */
  get frame() {
    return frameAt(...middle(this.corners));
  }

  /** A row line under the pointer can be taken. @param {LonLat} at @param {[number, number]} px @param {boolean} touch @returns {import("./grips.js").Grip | null} */
  grip(at, px, touch) {
    const preview = this.ground.overlay.marks.preview;
    if (!preview?.rows.length || this.line) return null;
    const { frame } = this;
    const flat = (/** @type {LonLat} */ place) => toMetres(frame, place);
    const rows = preview.rows.map((/** @type {LonLat[]} */ row) => /** @type {[any, any]} */ ([flat(row[0]), flat(row[row.length - 1])]));
    const mid = middleRow(rows);
    const { overlay } = this.ground;
    const [hx, hy] = overlay.pixel(preview.rows[mid][0]);
    const pxPerMetre = overlay.pixel(toDegrees(frame, [1, 0]))[0] - overlay.pixel(toDegrees(frame, [0, 0]))[0];
    const index = Math.hypot(hx - px[0], hy - px[1]) < 24 ? mid : rowUnder(flat(at), rows, (touch ? 14 : 7) / pxPerMetre);
    if (index < 0) return null;
    const held = hold(flat(at), rows, index, { bearing: this.facts.row_bearing_deg ?? 0, spacing: this.facts.row_spacing_m ?? BEGIN.row_spacing_m });
    return { move: (to) => this.take(dragged(held, flat(to))) };
  }

  /** @param {{bearing?: number, spacing?: number}} what */
  take({ bearing, spacing }) {
    if (bearing !== undefined) this.put("row_bearing_deg", bearing);
    if (spacing !== undefined) this.put("row_spacing_m", spacing);
  }

  /** @param {keyof Facts} name @param {number} value */
  put(name, value) {
    if (this.facts[name] === value) return;
    this.facts[name] = value;
    this.steppers[name].set(value);
    this.refresh();
  }

  /** @param {LonLat} _at @param {[number, number]} px @param {boolean} touch @returns {import("./grips.js").Grip | null} */
  arrowGrip(_at, px, touch) {
    return arrowGrip(this.ground, px, touch, (bearing) => this.put("uphill_bearing_deg", bearing));
  }

  /** What still lacks before it can be kept. @returns {string[]} */
  lacks() {
    const lacks = Object.entries(this.facts).filter(([, value]) => value === null).map(([name]) => say(`ground.rows.lack.${name}`));
    return lacks;
  }

  stop() {
    this.latest.stop();
    for (const off of this.off) off();
  }
}

/** The uphill arrow under the pointer can be turned. @param {any} ground @param {[number, number]} px @param {boolean} touch @param {(bearing: number) => void} turned */
export function arrowGrip(ground, px, touch, turned) {
  const uphill = ground.overlay.marks.uphill;
  if (!uphill) return null;
  const [fx, fy] = ground.overlay.pixel(uphill.foot);
  const angle = (uphill.bearing * Math.PI) / 180;
  const [dx, dy] = [px[0] - fx, px[1] - fy];
  const along = dx * Math.sin(angle) - dy * Math.cos(angle);
  const across = Math.abs(dx * Math.cos(angle) + dy * Math.sin(angle));
  if (along < 8 || along > arrowPx() + 30 || across > (touch ? 24 : 14)) return null;
  return { move: (/** @type {LonLat} */ _at, /** @type {[number, number]} */ to) => turned(wholeBearing(bearingOf(to[0] - fx, fy - to[1]))) };
}

/** Bring a shape into view, with room for its arrow above and the buttons of the map below. @param {any} ground @param {LonLat[]} corners @param {boolean} [arrow] */
export function fitShape(ground, corners, arrow = true) {
  const [west, south, east, north] = boxOf(corners);
  const side = ground.plan.element.clientWidth < 600 ? 34 : 72;
  ground.plan.moved = true;
  ground.plan.map.invalidateSize({ animate: false, pan: false });
  ground.plan.map.fitBounds([[south, west], [north, east]], { paddingTopLeft: [side, arrow ? arrowPx() + 34 : 44], paddingBottomRight: [side, 66], animate: false, maxZoom: 21 });
}
