// @ts-check
/** The hill profile: the grove seen from the side. Every tree a dot at its metres upslope, every row's mean a bar with its limits. */
import { announce, byId, el, mount, style, svg, token } from "../dom.js";
import { limits, number, withUnit } from "../format.js";
import { colourOf } from "../pressure/ramp.js";
import { say } from "../words.js";
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
    this.value = el("p", { class: "profile-value" });
    this.quiet = el("p", { class: "profile-quiet quiet" });
    this.box = el("div", {
      class: "profile-box", tabindex: "0", role: "group", "aria-label": say("profile.label"),
      onkeydown: (/** @type {KeyboardEvent} */ event) => this.key(event),
      onpointermove: (/** @type {PointerEvent} */ event) => this.point(event),
      onpointerleave: () => this.state.preview(null),
      onclick: (/** @type {PointerEvent} */ event) => this.choose(event),
    }, this.canvas, this.overlay);
    mount(element, el("div", { class: "profile-head" }, el("h2", { text: say("profile.title") }), this.quiet), this.box, this.value);
    for (const key of ["trees", "pressure", "summary", "zone", "place", "light"]) state.on(key, () => this.draw());
    for (const key of ["selection", "preview"]) state.on(key, () => this.highlight());
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
    this.quiet.textContent = !trees?.trees || !known.length ? say("profile.empty") : pressure ? say("profile.lead") : say("profile.noWalk");
    this.scale = null;
    if (!known.length || width < 60 || height < 60) return this.clear(width, height);
    const threshold = pressure?.threshold_per_beat ?? null;
    const counts = pressure ? pressure.columns.median_per_beat.filter((/** @type {any} */ value, /** @type {number} */ i) => value !== null && pressure.columns.knowledge[i] !== "unknown") : [];
    const tops = this.rows.filter((row) => row.known).map((row) => row.high_80 ?? 0);
    const most = Math.max(threshold ? threshold * 1.5 : 1, ...max(counts), ...max(tops));
    const narrow = height < 140;
    this.scale = makeScale({ width, height, ground: narrow ? 34 : 52, top: narrow ? 12 : 30 }, { from: Math.min(...low(known)), to: Math.max(...max(known)) }, most);
    this.paint(width, height, trees, pressure, summary);
    this.axes(width, height, threshold);
    this.highlight();
  }

  /** @param {number} width @param {number} height */
  clear(width, height) {
    this.canvas.width = Math.max(width, 1);
    this.canvas.height = Math.max(height, 1);
    mount(this.overlay);
    this.value.textContent = "";
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
    for (const row of this.rows) this.bar(pen, row, { ink, well });
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

  /** The row's 80 % limits; hatched where the row is unknown. @param {CanvasRenderingContext2D} pen @param {any} row @param {{ink: string, well: string}} colours */
  bar(pen, row, { ink, well }) {
    const scale = /** @type {NonNullable<typeof this.scale>} */ (this.scale);
    if (row.low_80 === null || row.low_80 === undefined) return;
    const [x, top, foot] = [scale.x(row.upslope_m) - BAR_PX / 2, scale.y(row.high_80), scale.y(row.low_80)];
    pen.save();
    pen.beginPath();
    pen.rect(x, top, BAR_PX, Math.max(foot - top, 1));
    if (row.known) {
      pen.fillStyle = well;
      pen.fill();
    } else {
      pen.clip();
      pen.strokeStyle = ink;
      pen.lineWidth = 1.2;
      for (let y = top - BAR_PX; y < foot; y += 6) {
        pen.beginPath();
        pen.moveTo(x, y + BAR_PX);
        pen.lineTo(x + BAR_PX, y);
        pen.stroke();
      }
    }
    pen.restore();
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
      parts.push(text(scale.right, y - 6, say("profile.threshold", { threshold }), "end", "axis strong halo"));
    }
    const hill = (/** @type {number} */ metres) => height - 20 - ((metres - scale.from) / (scale.to - scale.from)) * 14;
    parts.push(svg("path", { class: "hill", d: `M${scale.left} ${hill(scale.from)}L${scale.right} ${hill(scale.to)}V${height - 18}H${scale.left}Z` }));
    for (const row of this.rows) {
      const x = scale.x(row.upslope_m);
      parts.push(svg("line", { class: "row-tick", x1: x, x2: x, y1: hill(row.upslope_m) - 6, y2: hill(row.upslope_m) }));
    }
    const ticks = roundTicks(scale.from, scale.to, width / 150);
    for (const metres of ticks) parts.push(text(scale.x(metres), height - 3, number(metres)));
    parts.push(text(4, height - 3, say("profile.axis"), "start", "axis halo"));
    this.mark = svg("g", { class: "profile-mark" });
    mount(this.overlay, ...parts, this.mark);
    this.overlay.setAttribute("viewBox", `0 0 ${width} ${height}`);
  }

  /** The row that is pointed at or chosen, and its value written out. */
  highlight() {
    if (!this.scale || !this.mark) return;
    const shown = this.state.shown();
    const at = shown?.block === undefined || shown.row === undefined ? -1 : this.rows.findIndex((row) => row.block === shown.block && row.row === shown.row);
    mount(this.mark);
    const row = this.rows[at];
    this.value.textContent = row ? rowWords(row) : "";
    if (!row) return;
    const x = this.scale.x(row.upslope_m);
    const kind = shown?.fixed ? "line fixed" : "line";
    this.mark.append(
      svg("line", { class: "casing", x1: x, x2: x, y1: 2, y2: this.scale.foot + 30 }),
      svg("line", { class: kind, x1: x, x2: x, y1: 2, y2: this.scale.foot + 30 }),
    );
    if (row.known && row.mean_per_beat !== null) this.mark.append(svg("circle", { class: "knob", cx: x, cy: this.scale.y(row.mean_per_beat), r: 7 }));
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
    return this.go(nextRow(this.rows, at, event.key), false);
  }

  /** @param {PointerEvent} event @returns {number} */
  under(event) {
    if (!this.scale) return -1;
    const box = this.box.getBoundingClientRect();
    const x = event.clientX - box.left;
    const at = nearestRow(this.rows, this.scale.metres(x));
    return at >= 0 && Math.abs(this.scale.x(this.rows[at].upslope_m) - x) <= NEAR_PX ? at : -1;
  }

  /** @param {PointerEvent} event */
  point(event) {
    const row = this.rows[this.under(event)];
    this.state.preview(row ? { block: row.block, row: row.row } : null);
  }

  /** @param {PointerEvent} event */
  choose(event) {
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
