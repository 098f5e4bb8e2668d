// @ts-check
/** The hill profile: the grove seen from the side. Every tree a dot at its metres upslope, every row's mean a bar with its limits. */
import { announce, byId, el, mount, style, svg, token } from "../dom.js";
import { limits, number, withUnit } from "../format.js";
import { colours, patterns } from "../plan/pens.js";
import { colourOf } from "../pressure/ramp.js";
import { say } from "../words.js";
import { Band } from "./band.js";
import { hillLine } from "./hill.js";
import { inHillOrder, makeScale, nearestRow, nextRow, roundTicks } from "./scale.js";

const DOT_PX = 2.4;
const BAR_PX = 7;
const NEAR_PX = 14;

export class Profile {
  /** @param {HTMLElement} element @param {{state: typeof import("../state.js").state}} ctx */
  constructor(element, { state }) {
    this.element = element;
    this.state = state;
    /** @type {any[]} */
    this.rows = [];
    /** @type {ReturnType<typeof makeScale> | null} */
    this.scale = null;
    this.canvas = el("canvas", { class: "profile-canvas", "aria-hidden": "true" });
    this.overlay = svg("svg", { class: "profile-overlay", "aria-hidden": "true" });
    this.band = new Band(state, () => this.scale);
    this.veil = svg("g", {});
    this.quiet = el("p", { class: "profile-quiet quiet" });
    this.box = el("div", {
      class: "profile-box", tabindex: "0", role: "group", "aria-label": say("profile.label"),
      onkeydown: (/** @type {KeyboardEvent} */ event) => this.key(event),
      onpointerdown: (/** @type {PointerEvent} */ event) => this.band.down(event, this.across(event)),
      onpointermove: (/** @type {PointerEvent} */ event) => this.point(event),
      onpointerup: () => this.band.up(),
      onpointercancel: () => this.band.up(),
      onpointerleave: () => this.state.preview(null),
      onclick: (/** @type {PointerEvent} */ event) => this.choose(event),
    }, this.canvas, this.overlay);
    mount(element, el("div", { class: "profile-head" }, el("h2", { text: say("profile.title") }), this.quiet, this.band.head), this.box);
    for (const key of ["trees", "pressure", "summary", "zone", "place", "light"]) state.on(key, () => this.draw());
    for (const key of ["selection", "preview"]) state.on(key, () => this.highlight());
    state.on("band", (band) => { if (this.band.start === null) this.band.told(band); this.band.draw(this.veil); });
    new ResizeObserver(() => this.draw()).observe(this.box);
    this.draw();
  }

  /** Read what is known, set the scale, draw all. */
  draw() {
    const { width, height } = this.box.getBoundingClientRect();
    const trees = this.state.get("trees");
    const summary = this.state.get("summary");
    const pressure = this.state.get("pressure");
    const upslope = trees?.columns?.upslope_m ?? [];
    const known = upslope.filter((/** @type {any} */ value) => value !== null);
    this.rows = inHillOrder(summary?.rows ?? []);
    this.element.dataset.empty = String(!known.length);
    this.quiet.textContent = !trees?.trees || !known.length ? say("profile.empty") : !pressure ? say("profile.noWalk") : this.state.get("place") === "treat" ? say("profile.treat") : say("profile.lead");
    this.band.head.hidden = !pressure || !known.length;
    this.scale = null;
    if (!known.length || width < 60 || height < 60) return this.clear(width, height);
    const threshold = pressure?.threshold_per_beat ?? null;
    const counts = pressure ? pressure.columns.median_per_beat.filter((/** @type {any} */ value, /** @type {number} */ i) => value !== null && pressure.columns.knowledge[i] !== "unknown") : [];
    const tops = this.rows.filter((row) => row.known).map((row) => row.high_80 ?? 0);
    const most = Math.max(threshold ? threshold * 1.5 : 1, ...max(counts), ...max(tops));
    const narrow = height < 140;
    this.scale = makeScale({ width, height, ground: narrow ? 38 : 64, top: narrow ? 22 : 28 }, { from: Math.min(...low(known)), to: Math.max(...max(known)) }, most);
    this.paint(width, height, trees, pressure, summary);
    this.axes(width, height, threshold);
    this.highlight();
  }

  /** @param {number} width @param {number} height */
  clear(width, height) {
    this.canvas.width = Math.max(width, 1);
    this.canvas.height = Math.max(height, 1);
    mount(this.overlay);
  }

  /** Dots and bars on the canvas. @param {number} width @param {number} height @param {any} trees @param {any} pressure @param {any} summary */
  paint(width, height, trees, pressure, summary) {
    const scale = /** @type {NonNullable<typeof this.scale>} */ (this.scale);
    const ratio = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
    style(this.canvas, { width: `${width}px`, height: `${height}px` });
    const pen = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext("2d"));
    pen.scale(ratio, ratio);
    if (!pressure) return;
    const { edge, ink, well } = { edge: token("edge"), ink: token("ink"), well: token("well") };
    const sprayed = new Set(this.state.get("place") === "treat" ? this.state.get("zone")?.trees?.columns?.tree ?? [] : []);
    const treat = this.state.get("place") === "treat";
    const { unknown } = patterns(pen, ratio, { ...colours() });
    for (const row of this.rows) this.bar(pen, row, { ink, well, edge }, unknown);
    const { median_per_beat: median, knowledge, tree } = pressure.columns;
    trees.columns.upslope_m.forEach((/** @type {number | null} */ metres, /** @type {number} */ i) => {
      if (metres === null || median[i] === null || knowledge[i] === "unknown") return;
      pen.beginPath();
      pen.arc(scale.x(metres), scale.y(median[i]), DOT_PX, 0, 2 * Math.PI);
      pen.fillStyle = treat ? (sprayed.has(tree[i]) ? token("accent") : token("paper")) : colourOf(median[i], summary.ramp) ?? token("paper");
      pen.fill();
      pen.lineWidth = 0.6;
      pen.strokeStyle = edge;
      pen.stroke();
    });
    for (const row of this.rows) this.mean(pen, row, ink);
  }

  /** The row's 80 % limits; hatched from top to foot where nothing is known. @param {CanvasRenderingContext2D} pen @param {any} row @param {{ink: string, well: string, edge: string}} colours @param {CanvasPattern} unknown */
  bar(pen, row, { well, edge }, unknown) {
    const scale = /** @type {NonNullable<typeof this.scale>} */ (this.scale);
    const told = row.known && row.low_80 !== null && row.low_80 !== undefined;
    const [x, top, foot] = [scale.x(row.upslope_m) - BAR_PX / 2, told ? scale.y(row.high_80) : scale.y(scale.most / 2), told ? scale.y(row.low_80) : scale.foot];
    pen.fillStyle = told ? well : unknown;
    pen.fillRect(x, top, BAR_PX, Math.max(foot - top, 1));
    pen.strokeStyle = edge;
    pen.lineWidth = 0.8;
    pen.strokeRect(x, top, BAR_PX, Math.max(foot - top, 1));
  }

  /** @param {CanvasRenderingContext2D} pen @param {any} row @param {string} ink */
  mean(pen, row, ink) {
    const scale = /** @type {NonNullable<typeof this.scale>} */ (this.scale);
    if (!row.known || row.mean_per_beat === null) return;
    pen.strokeStyle = ink;
    pen.lineWidth = 2;
    pen.beginPath();
    pen.moveTo(scale.x(row.upslope_m) - BAR_PX / 2 - 1, scale.y(row.mean_per_beat));
    pen.lineTo(scale.x(row.upslope_m) + BAR_PX / 2 + 1, scale.y(row.mean_per_beat));
    pen.stroke();
  }

  /** Axes, threshold and the ground line with a tick a row. @param {number} width @param {number} height @param {number | null} threshold */
  axes(width, height, threshold) {
    const scale = /** @type {NonNullable<typeof this.scale>} */ (this.scale);
    const parts = [];
    const text = (/** @type {number} */ x, /** @type {number} */ y, /** @type {string} */ words, anchor = "middle", kind = "axis") =>
      svg("text", { x, y, "text-anchor": anchor, class: kind, text: words });
    for (const count of roundTicks(0, scale.most, Math.max((scale.foot - scale.top) / 40, 1))) {
      parts.push(svg("line", { class: count ? "grid" : "base", x1: scale.left - 8, x2: scale.right, y1: scale.y(count), y2: scale.y(count) }));
      parts.push(text(scale.left - 14, scale.y(count) + 5, number(count), "end"));
    }
    if (threshold !== null) {
      const y = scale.y(threshold);
      parts.push(svg("line", { class: "threshold", x1: scale.left - 8, x2: scale.right, y1: y, y2: y }));
      parts.push(text(scale.right, y - 6, say("profile.threshold", { threshold }), "end", "axis halo"));
    }
    const hill = hillLine(this.state.get("trees")?.columns ?? {}, scale, { top: scale.foot + 12, foot: height - 22 });
    parts.push(svg("path", { class: "hill", d: `${hill.path}V${height - 18}H${scale.left}Z` }));
    for (const row of this.rows) {
      const x = scale.x(row.upslope_m);
      parts.push(svg("line", { class: "row-tick", x1: x, x2: x, y1: hill.y(row.upslope_m) - 6, y2: hill.y(row.upslope_m) }));
    }
    const ticks = roundTicks(scale.from, scale.to, width / 150);
    for (const metres of ticks) if (scale.x(metres) > scale.left + 116) parts.push(text(scale.x(metres), height - 3, number(metres)));
    parts.push(text(scale.left - 8, height - 3, say("profile.axis"), "start"));
    this.mark = svg("g", { class: "profile-mark" });
    mount(this.overlay, this.veil, ...parts, this.mark);
    this.band.draw(this.veil);
    this.overlay.setAttribute("viewBox", `0 0 ${width} ${height}`);
  }

  /** The row that is pointed at or chosen, and its value written out. */
  highlight() {
    if (!this.scale || !this.mark) return;
    const shown = this.state.shown();
    const at = shown?.block === undefined || shown.row === undefined ? -1 : this.rows.findIndex((row) => row.block === shown.block && row.row === shown.row);
    mount(this.mark);
    const row = this.rows[at];
    if (!row) return;
    const tree = this.tree(shown);
    const x = this.scale.x(tree?.metres ?? row.upslope_m);
    const count = tree ? tree.count : row.known ? row.mean_per_beat : null;
    const kind = shown?.fixed ? "line fixed" : "line";
    const words = this.words(row, shown);
    const before = x > (this.scale.left + this.scale.right) / 2;
    this.mark.append(svg("line", { class: shown?.fixed ? "casing wide" : "casing", x1: x, x2: x, y1: 0, y2: this.scale.foot + 34 }), svg("line", { class: kind, x1: x, x2: x, y1: 0, y2: this.scale.foot + 34 }));
    if (count !== null) this.mark.append(svg("circle", { class: "knob", cx: x, cy: this.scale.y(count), r: 7 }));
    const value = svg("text", { class: "profile-value halo", x: before ? x - 10 : x + 10, y: 15, "text-anchor": before ? "end" : "start", text: words });
    this.mark.append(value);
    // Too long for its side: it keeps to the edge and crosses the line, with its halo.
    const wide = value.getComputedTextLength();
    if (before && x - 10 - wide < 4) value.setAttribute("x", String(Math.min(4 + wide, this.scale.right)));
    if (!before && x + 10 + wide > this.scale.right + 12) value.setAttribute("x", String(Math.max(this.scale.right + 12 - wide, 4)));
  }

  /** The tree that is shown, where one is. @param {any} shown @returns {{i: number, metres: number | null, count: number | null} | null} */
  tree(shown) {
    const columns = this.state.get("trees")?.columns;
    const pressure = this.state.get("pressure");
    const i = shown?.tree && columns ? columns.tree.indexOf(shown.tree) : -1;
    if (i < 0 || !pressure) return null;
    return { i, metres: columns.upslope_m[i], count: pressure.columns.knowledge[i] === "unknown" ? null : pressure.columns.median_per_beat[i] };
  }

  /** What stands at the line: the tree, the run or the row, with its number. @param {any} row @param {any} shown */
  words(row, shown) {
    const tree = this.tree(shown);
    if (!tree) return shown?.run !== undefined && shown?.run !== null ? `${say("plan.runName", { run: shown.run })}, ${rowWords(row)}` : rowWords(row);
    const { low_80: low, high_80: high } = this.state.get("pressure").columns;
    const where = say("why.tree", { block: row.block, row: row.row, position: this.state.get("trees").columns.position[tree.i] });
    return tree.count === null ? `${where}: ${say("pressure.tooFew")}` : `${where}: ${say("profile.value", { count: limits(tree.count, low[tree.i], high[tree.i]) })}`;
  }

  /** @param {number} at @param {boolean} fixed */
  go(at, fixed) {
    const row = this.rows[at];
    if (!row) return;
    const what = { block: row.block, row: row.row };
    if (fixed) this.state.choose(what);
    else this.state.preview(what);
    announce(rowWords(row));
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const shown = this.state.shown();
    const at = this.rows.findIndex((row) => row.block === shown?.block && row.row === shown?.row);
    if (event.key === "Escape") return this.state.choose(null);
    if (event.key === "Enter" && at >= 0) return this.go(at, true);
    if (!["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End"].includes(event.key)) return undefined;
    event.preventDefault();
    const to = nextRow(this.rows, at, event.key);
    if (event.shiftKey && at >= 0 && to >= 0 && /Left|Right/.test(event.key)) this.band.stretch(event.key, this.rows[to].upslope_m, this.rows[at].upslope_m);
    return this.go(to, false);
  }

  /** @param {PointerEvent} event @returns {number} Pixels from the left of the profile. */
  across(event) {
    return event.clientX - this.box.getBoundingClientRect().left;
  }

  /** @param {PointerEvent} event @returns {number} */
  under(event) {
    if (!this.scale) return -1;
    const x = this.across(event);
    const at = nearestRow(this.rows, this.scale.metres(x));
    return at >= 0 && Math.abs(this.scale.x(this.rows[at].upslope_m) - x) <= NEAR_PX ? at : -1;
  }

  /** @param {PointerEvent} event */
  point(event) {
    if (this.band.move(this.across(event))) return;
    const row = this.rows[this.under(event)];
    this.state.preview(row ? { block: row.block, row: row.row } : null);
  }

  /** @param {PointerEvent} event */
  choose(event) {
    if (this.band.dragged) { this.band.dragged = false; return; }
    const at = this.under(event);
    if (at >= 0) this.go(at, true);
  }
}

/** @param {number[]} values @returns {number[]} One value or none, so that spreading stays small. */
const max = (values) => (values.length ? [values.reduce((one, other) => Math.max(one, other))] : []);
/** @param {number[]} values */
const low = (values) => (values.length ? [values.reduce((one, other) => Math.min(one, other))] : []);

/** @param {any} row */
export function rowWords(row) {
  const where = say("profile.row", { block: row.block, row: row.row, metres: withUnit(row.upslope_m, "m", 0) });
  if (!row.known || row.mean_per_beat === null) return `${where}: ${say("pressure.tooFew")}`;
  return `${where}: ${say("profile.value", { count: limits(row.mean_per_beat, row.low_80, row.high_80) })}`;
}

/** Mount the profile on the page. @param {any} ctx */
export function mountProfile(ctx) {
  return new Profile(byId("profile"), ctx);
}
