// @ts-check
/** What Ground lays over the plan: rows while they are tried out, lengths of edges, the keyboard's cross, the uphill arrow, a mended shape, the way that was walked. */
import { number } from "../format.js";
import { FONT } from "../plan/draw.js";
import { inside, relative } from "../plan/ground.js";
import { cased, written } from "../plan/pens.js";
import { say } from "../words.js";
import { lengthM, middle } from "./geo.js";
import { middleRow } from "./rowdrag.js";

/** @typedef {import("./geo.js").LonLat} LonLat
 * @typedef {import("../plan/ground.js").View} View
 * @typedef {{rows: [LonLat, LonLat][], trees: LonLat[], stale?: boolean, fixed?: boolean}} Preview
 * @typedef {{preview: Preview | null, lines: LonLat[][], edges: {corners: LonLat[], closed: boolean} | null, cross: LonLat | null, corner: LonLat | null, uphill: {foot: LonLat, bearing: number, known: boolean} | null,
 *   setback: {corners: LonLat[], metres: number} | null, mended: LonLat[] | null, lost: LonLat[], walked: {line: LonLat[], corners: LonLat[], at: LonLat | null, accuracy: number} | null, points: {at: LonLat, name: string, letter?: boolean}[]}} Marks */

/** @type {Marks} */
const NONE = { preview: null, lines: [], edges: null, cross: null, corner: null, uphill: null, setback: null, mended: null, lost: [], walked: null, points: [] };
/** Length of the uphill arrow on the screen [px]. */
export const arrowPx = () => (matchMedia("(max-width: 759.98px)").matches ? 58 : 84);

export class Overlay {
  /** @param {import("../plan/plan.js").Plan} plan */
  constructor(plan) {
    this.plan = plan;
    /** @type {Marks} */
    this.marks = { ...NONE };
    /** @type {WeakMap<object, {origin: any, flat: Float64Array}>} */
    this.flattened = new WeakMap();
    plan.overlays.add((pen, v, c) => this.draw(pen, v, c));
  }

  /** @param {Partial<Marks>} patch */
  set(patch) {
    Object.assign(this.marks, patch);
    this.plan.draw();
  }

  /** Take every mark away but the lasting ones. */
  clear() {
    this.set({ ...NONE, points: this.marks.points });
  }

  /** @param {LonLat} at @param {View} [v] @returns {[number, number]} Pixels of the map. */
  pixel([lon, lat], v = this.plan.view()) {
    const [x, y] = relative(lon, lat, this.plan.origin);
    return [x * v.scale + v.dx, y * v.scale + v.dy];
  }

  /** The same points are drawn in many frames: they are made flat once. @param {LonLat[]} points */
  flat(points) {
    const had = this.flattened.get(points);
    if (had && had.origin === this.plan.origin) return had.flat;
    const flat = new Float64Array(2 * points.length);
    points.forEach(([lon, lat], i) => flat.set(relative(lon, lat, this.plan.origin), 2 * i));
    this.flattened.set(points, { origin: this.plan.origin, flat });
    return flat;
  }

  /** @param {LonLat[]} points @param {View} v @param {boolean} closed */
  way(points, v, closed) {
    const flat = this.flat(points);
    const made = new Path2D();
    for (let i = 0; i < flat.length; i += 2) made[i ? "lineTo" : "moveTo"](flat[i] * v.scale + v.dx, flat[i + 1] * v.scale + v.dy);
    if (closed) made.closePath();
    return made;
  }

  /** @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c */
  draw(pen, v, c) {
    const { marks } = this;
    if (marks.setback) this.setback(pen, v, c, marks.setback);
    if (marks.edges?.closed && !marks.setback) {
      pen.fillStyle = c.paper;
      pen.fill(this.way(marks.edges.corners, v, true));
    }
    if (marks.preview) this.preview(pen, v, c, marks.preview);
    for (const line of marks.lines) cased(pen, this.way(line, v, false), c.casing, 6, c.accent, 2.4);
    if (marks.mended) this.mended(pen, v, c, marks.mended);
    if (marks.walked) this.walked(pen, v, c, marks.walked);
    if (marks.lost.length) this.lost(pen, v, c, marks.lost);
    this.points(pen, v, c);
    if (marks.edges) this.lengths(pen, v, c, marks.edges.corners, marks.edges.closed);
    if (marks.uphill) this.arrow(pen, v, c, marks.uphill);
    if (marks.corner) this.ring(pen, c, this.pixel(marks.corner, v), 13);
    if (marks.cross) this.cross(pen, v, c, marks.cross);
  }

  /** @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c @param {Preview} preview */
  preview(pen, v, c, { rows, trees, stale, fixed }) {
    pen.globalAlpha = stale ? 0.45 : 1;
    pen.strokeStyle = c.edge;
    pen.lineWidth = 1;
    for (const row of rows) pen.stroke(this.way(row, v, false));
    const flat = this.flat(trees);
    const dots = new Path2D();
    const radius = Math.max(1.2, Math.min(3.2, v.scale * 1.2e-5));
    for (let i = 0; i < flat.length; i += 2) {
      const x = flat[i] * v.scale + v.dx;
      const y = flat[i + 1] * v.scale + v.dy;
      if (x < -9 || y < -9 || x > v.width + 9 || y > v.height + 9) continue;
      dots.moveTo(x + radius, y);
      dots.arc(x, y, radius, 0, 6.2832);
    }
    pen.fillStyle = c.paper;
    pen.strokeStyle = c.quiet;
    pen.lineWidth = 1.2;
    if (radius > 1.5) pen.fill(dots);
    pen.stroke(dots);
    // A row that can be taken is inked and carries a ring; rows along a line can't.
    const chosen = fixed ? null : rows[middleRow(rows)];
    if (chosen) {
      cased(pen, this.way(chosen, v, false), c.casing, 6, c.ink, 2.6);
      this.ring(pen, c, this.pixel(chosen[0], v), 9, c.accent);
    }
    pen.globalAlpha = 1;
  }

  /** @param {CanvasRenderingContext2D} pen @param {Record<string, string>} c @param {[number, number]} at @param {number} radius @param {string} [colour] */
  ring(pen, c, [x, y], radius, colour = c.accent) {
    const way = new Path2D();
    way.arc(x, y, radius, 0, 7);
    pen.fillStyle = c.paper;
    if (radius < 12) pen.fill(way);
    cased(pen, way, c.casing, 7, colour, 3.6);
  }

  /** @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c @param {{corners: LonLat[], metres: number}} setback */
  setback(pen, v, c, { corners, metres }) {
    const way = this.way(corners, v, true);
    pen.lineJoin = "round";
    pen.setLineDash([]);
    const [, y] = this.pixel(corners[0], v);
    const [lon, lat] = corners[0];
    const px = Math.abs(this.pixel([lon, lat + metres / 111_132], v)[1] - y);
    pen.strokeStyle = c.edge;
    pen.lineWidth = 2 * px + 3;
    pen.stroke(way);
    pen.strokeStyle = c.ground;
    pen.lineWidth = 2 * px;
    pen.stroke(way);
    if (this.plan.patterns?.setback) {
      pen.strokeStyle = this.plan.patterns.setback;
      pen.stroke(way);
    }
    pen.fillStyle = c.paper;
    pen.fill(way);
  }

  /** @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c @param {LonLat[]} corners */
  mended(pen, v, c, corners) {
    const way = this.way(corners, v, true);
    pen.fillStyle = c["accent-tint"] || c.paper;
    pen.globalAlpha = 0.5;
    pen.fill(way);
    pen.globalAlpha = 1;
    pen.setLineDash([9, 5]);
    cased(pen, way, c.casing, 6, c.accent, 2.4);
    pen.setLineDash([]);
    this.lengths(pen, v, c, corners, true);
  }

  /** @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c @param {NonNullable<Marks["walked"]>} walked */
  walked(pen, v, c, { line, corners, at, accuracy }) {
    if (line.length > 1) cased(pen, this.way(line, v, false), c.casing, 6, c.ink, 2.4);
    for (const corner of corners) {
      const [x, y] = this.pixel(corner, v);
      pen.fillStyle = c.paper;
      pen.strokeStyle = c.ink;
      pen.lineWidth = 2.4;
      pen.fillRect(x - 6, y - 6, 12, 12);
      pen.strokeRect(x - 6, y - 6, 12, 12);
    }
    if (!at) return;
    const [x, y] = this.pixel(at, v);
    const px = Math.max(6, Math.abs(this.pixel([at[0], at[1] + accuracy / 111_132], v)[1] - y));
    const way = new Path2D();
    way.arc(x, y, px, 0, 7);
    pen.strokeStyle = c.accent;
    pen.lineWidth = 1.8;
    pen.setLineDash([6, 4]);
    pen.stroke(way);
    pen.setLineDash([]);
    this.ring(pen, c, [x, y], 7);
  }

  /** Trees that a new outline would leave out. @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c @param {LonLat[]} trees */
  lost(pen, v, c, trees) {
    const way = new Path2D();
    for (const tree of trees) {
      const [x, y] = this.pixel(tree, v);
      way.moveTo(x - 4, y - 4);
      way.lineTo(x + 4, y + 4);
      way.moveTo(x + 4, y - 4);
      way.lineTo(x - 4, y + 4);
    }
    cased(pen, way, c.casing, 4, c.ink, 1.8);
  }

  /** @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c */
  points(pen, v, c) {
    pen.font = `500 16px ${FONT}`;
    pen.textAlign = "left";
    pen.textBaseline = "middle";
    for (const { at, name, letter } of this.marks.points) {
      const [x, y] = this.pixel(at, v);
      if (letter) {
        pen.font = `700 18px ${FONT}`;
        pen.textAlign = "center";
        written(pen, name, x, y, c.accent, c.casing);
        continue;
      }
      const way = new Path2D();
      way.rect(x - 5, y - 5, 10, 10);
      pen.fillStyle = c.paper;
      pen.fill(way);
      cased(pen, way, c.casing, 5, c.ink, 2);
      const w = pen.measureText(name).width;
      const left = this.covers(x + 11, x + 11 + w, y, v) && !this.covers(x - 11 - w, x - 11, y, v);
      pen.textAlign = left ? "right" : "left";
      written(pen, name, left ? x - 11 : x + 11, y, c.ink, c.casing);
    }
  }

  /** Whether words from here to there would lie on a block or on a name. @param {number} from @param {number} to @param {number} y @param {View} v */
  covers(from, to, y, v) {
    const { blocks, labels } = this.plan.scene;
    const spots = [0, 0.25, 0.5, 0.75, 1].map((share) => from + share * (to - from));
    return spots.some((x) => blocks.some(({ rings }) => rings[0] && inside((x - v.dx) / v.scale, (y - v.dy) / v.scale, rings[0]))) || labels.some((label) => Math.abs(label.y - y) < 20 && label.x + 40 > from && label.x - 40 < to);
  }

  /** The length of each edge beside it, where there is room. @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c @param {LonLat[]} corners @param {boolean} closed */
  lengths(pen, v, c, corners, closed) {
    pen.font = `500 16px ${FONT}`;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    const [mx, my] = corners.length > 2 ? this.pixel(middle(corners), v) : [0, 1e9];
    for (let i = 0; i < corners.length - (closed ? 0 : 1); i += 1) {
      const next = corners[(i + 1) % corners.length];
      const [ax, ay] = this.pixel(corners[i], v);
      const [bx, by] = this.pixel(next, v);
      const long = Math.hypot(bx - ax, by - ay);
      if (long < 64) continue;
      const words = say("ground.metres", { n: number(lengthM(corners[i], next), 0) });
      const [x, y] = [(ax + bx) / 2, (ay + by) / 2];
      // Off the edge along its own normal, on the outer side, so far that the words clear it.
      const side = (x - mx) * (by - ay) - (y - my) * (bx - ax) < 0 ? -1 : 1;
      const [nx, ny] = [(side * (by - ay)) / long, (-side * (bx - ax)) / long];
      const out = 10 + Math.abs(nx) * (pen.measureText(words).width / 2) + Math.abs(ny) * 9;
      written(pen, words, x + nx * out, y + ny * out, c.ink, c.casing);
    }
  }

  /** @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c @param {NonNullable<Marks["uphill"]>} uphill */
  arrow(pen, v, c, { foot, bearing, known }) {
    const [x, y] = this.pixel(foot, v);
    pen.save();
    pen.translate(x, y);
    pen.rotate((bearing * Math.PI) / 180);
    const long = arrowPx();
    const way = new Path2D(`M0 0 V${-long} M-13 ${-long + 15} L0 ${-long} L13 ${-long + 15} M-12 0 H12`);
    if (!known) pen.setLineDash([8, 6]);
    cased(pen, way, c.casing, 9, c.accent, 4);
    pen.setLineDash([]);
    pen.restore();
    const [tx, ty] = [x + Math.sin((bearing * Math.PI) / 180) * (long + 18), y - Math.cos((bearing * Math.PI) / 180) * (long + 18)];
    pen.font = `700 16px ${FONT}`;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    written(pen, say("plan.uphill"), tx, ty, c.ink, c.casing);
  }

  /** @param {CanvasRenderingContext2D} pen @param {View} v @param {Record<string, string>} c @param {LonLat} at */
  cross(pen, v, c, at) {
    const [x, y] = this.pixel(at, v);
    const way = new Path2D(`M${x - 18} ${y} H${x - 4} M${x + 4} ${y} H${x + 18} M${x} ${y - 18} V${y - 4} M${x} ${y + 4} V${y + 18}`);
    cased(pen, way, c.casing, 7, c.accent, 3);
  }
}
