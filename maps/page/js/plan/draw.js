// @ts-check
/** One frame of the map, in the order: setbacks, keep-outs, block paper, cells, hatch, outlines, beaten trees, runs, linked row, labels. */
import { drawChange } from "./change.js";
import { cased, path, written } from "./pens.js";

/** @typedef {import("./ground.js").View} View
 * @typedef {import("./ground.js").Ring} Ring
 * @typedef {{fill: string | null, hatch: "none" | "doubtful" | "unknown", arrow?: number | null}} Paint
 * @typedef {{name: string, rings: Ring[], id: string}} Shape
 * @typedef {{rank: number, x: number, y: number}} Spot
 * @typedef {{words: string, x: number, y: number, font: string, italic: boolean, accent?: boolean}} Label
 * @typedef {{ring: Ring, fixed: boolean} | null} Linked
 * @typedef {{blocks: Shape[], keepOuts: (Shape & {kind: string, setback: Ring[]})[], set: import("./ground.js").TreeSet | null, paints: Paint[] | null, coloured: boolean, faded: boolean[] | null,
 *   rows: Ring[], beaten: number[], runs: {rings: Ring[], filled: boolean, run: number, block: string}[], changed: {index: number, kind: string}[], spots: Spot[], labels: Label[], linked: Linked, hidden: string | null}} Scene */

/** @param {CanvasRenderingContext2D} pen @param {Scene} scene @param {View} v @param {Record<string, string>} c @param {Record<string, CanvasPattern>} p */
export function drawScene(pen, scene, v, c, p) {
  pen.clearRect(0, 0, v.width, v.height);
  keepOuts(pen, scene, v, c, p);
  for (const block of scene.blocks) {
    if (block.id === scene.hidden) continue;
    pen.fillStyle = c.paper;
    pen.fill(path(block.rings, v), "evenodd");
  }
  if (scene.set && scene.paints) cells(pen, scene, v, c, p);
  outlines(pen, scene, v, c);
  drawChange(pen, scene, v, c);
  beatenDots(pen, scene, v);
  runs(pen, scene, v, c);
  linked(pen, scene, v, c);
  spots(pen, scene, v, c);
}

/** @param {CanvasRenderingContext2D} pen @param {Scene} scene @param {View} v @param {Record<string, string>} c @param {Record<string, CanvasPattern>} p */
function keepOuts(pen, scene, v, c, p) {
  for (const one of scene.keepOuts) {
    const around = path(one.setback, v);
    pen.fillStyle = p.setback;
    pen.fill(around, "evenodd");
  }
  for (const one of scene.keepOuts) {
    const way = path(one.rings, v);
    const water = one.kind === "water";
    pen.fillStyle = water ? c.water : one.kind === "bush" ? c.well : one.kind === "dwelling" ? c.ink : c.paper;
    pen.fill(way, "evenodd");
    if (p[one.kind]) {
      pen.fillStyle = p[one.kind];
      pen.fill(way, "evenodd");
    }
    pen.strokeStyle = water ? c["water-edge"] : c.edge;
    pen.lineWidth = 1.8;
    pen.stroke(way);
  }
}

/** @param {CanvasRenderingContext2D} pen @param {Scene} scene @param {View} v @param {Record<string, string>} c @param {Record<string, CanvasPattern>} p */
function cells(pen, scene, v, c, p) {
  const set = /** @type {import("./ground.js").TreeSet} */ (scene.set);
  const paints = /** @type {Paint[]} */ (scene.paints);
  /** @type {Map<string, Path2D>} */
  const fills = new Map();
  const hatched = { doubtful: new Path2D(), unknown: new Path2D() };
  const plain = new Path2D();
  const faded = new Path2D();
  const cellPx = Math.hypot(set.corners[0] - set.corners[2], set.corners[1] - set.corners[3]) * v.scale;
  const dot = Math.max(1, Math.min(4, cellPx * 0.16));
  const { corners, centres } = set;
  for (let i = 0; i < set.n; i += 1) {
    const x = centres[2 * i] * v.scale + v.dx;
    const y = centres[2 * i + 1] * v.scale + v.dy;
    if (x < -60 || y < -60 || x > v.width + 60 || y > v.height + 60) continue;
    const { fill, hatch } = paints[i];
    if (fill === null && hatch === "none") {
      plain.moveTo(x + dot, y);
      plain.arc(x, y, dot, 0, 6.2832);
      continue;
    }
    const key = fill === null ? "" : `${fill}${hatch === "doubtful" ? "/" : ""}`;
    let way = fills.get(key);
    if (fill !== null && !way) fills.set(key, (way = new Path2D()));
    if (way) quad(way, corners, i, v);
    if (hatch !== "none") quad(hatched[hatch], corners, i, v);
    if (scene.faded?.[i]) quad(faded, corners, i, v);
  }
  pen.lineWidth = 0.6;
  for (const [key, way] of fills) {
    const doubtful = key.endsWith("/");
    pen.fillStyle = pen.strokeStyle = doubtful ? key.slice(0, -1) : key;
    pen.globalAlpha = doubtful ? 0.5 : 1;
    pen.fill(way);
    if (!doubtful) pen.stroke(way);
  }
  pen.globalAlpha = 1;
  for (const [name, way] of Object.entries(hatched)) {
    pen.fillStyle = p[name];
    pen.fill(way);
  }
  if (scene.faded) {
    pen.globalAlpha = 0.82;
    pen.fillStyle = c.paper;
    pen.fill(faded);
    pen.globalAlpha = 1;
  }
  pen.strokeStyle = c.line;
  pen.lineWidth = 1;
  if (!scene.coloured) pen.stroke(path(scene.rows, v, false));
  pen.fillStyle = c.paper;
  pen.strokeStyle = c.edge;
  pen.lineWidth = 1.2;
  if (dot > 1.6) pen.fill(plain);
  pen.stroke(plain);
  if (cellPx > 26) treeDots(pen, scene, v, c);
}

/** @param {Path2D} way @param {Float64Array} corners @param {number} i @param {View} v */
function quad(way, corners, i, v) {
  const at = 8 * i;
  way.moveTo(corners[at] * v.scale + v.dx, corners[at + 1] * v.scale + v.dy);
  for (let k = 2; k < 8; k += 2) way.lineTo(corners[at + k] * v.scale + v.dx, corners[at + k + 1] * v.scale + v.dy);
  way.closePath();
}

/** Close enough, a cell shows its tree. @param {CanvasRenderingContext2D} pen @param {Scene} scene @param {View} v @param {Record<string, string>} c */
function treeDots(pen, scene, v, c) {
  const { n, centres } = /** @type {import("./ground.js").TreeSet} */ (scene.set);
  const dots = new Path2D();
  for (let i = 0; i < n; i += 1) {
    const x = centres[2 * i] * v.scale + v.dx;
    const y = centres[2 * i + 1] * v.scale + v.dy;
    if (x < 0 || y < 0 || x > v.width || y > v.height || /** @type {Paint[]} */ (scene.paints)[i].fill === null) continue;
    dots.moveTo(x + 2.5, y);
    dots.arc(x, y, 2.5, 0, 6.2832);
  }
  pen.strokeStyle = c.casing;
  pen.lineWidth = 1.5;
  pen.stroke(dots);
}

/** @param {CanvasRenderingContext2D} pen @param {Scene} scene @param {View} v @param {Record<string, string>} c */
function outlines(pen, scene, v, c) {
  pen.lineJoin = "miter";
  pen.strokeStyle = c.ink;
  pen.lineWidth = 1.8;
  for (const block of scene.blocks) if (block.id !== scene.hidden) pen.stroke(path(block.rings, v));
  pen.strokeStyle = c.edge;
  pen.lineWidth = 1.5;
  pen.setLineDash([7, 5]);
  for (const one of scene.keepOuts) pen.stroke(path(one.setback, v));
  pen.setLineDash([]);
}

/** Beaten trees always show: a white dot with an ink ring, the same in every light, as the ramp is. @param {CanvasRenderingContext2D} pen @param {Scene} scene @param {View} v */
function beatenDots(pen, scene, v) {
  if (!scene.set) return;
  const { centres } = scene.set;
  const dots = new Path2D();
  for (const i of scene.beaten) {
    const [x, y] = [centres[2 * i] * v.scale + v.dx, centres[2 * i + 1] * v.scale + v.dy];
    dots.moveTo(x + 2.8, y);
    dots.arc(x, y, 2.8, 0, 7);
  }
  pen.fillStyle = "#FFFFFF";
  pen.fill(dots);
  pen.strokeStyle = "#141A16";
  pen.lineWidth = 1.6;
  pen.stroke(dots);
}

/** @param {CanvasRenderingContext2D} pen @param {Scene} scene @param {View} v @param {Record<string, string>} c */
function runs(pen, scene, v, c) {
  for (const run of scene.runs) {
    const way = path(run.rings, v);
    if (run.filled) {
      pen.fillStyle = c.accent;
      pen.fill(way);
    } else cased(pen, way, c.casing, 5, c.accent, 2.4);
  }
  if (!scene.set) return;
  for (const { index, kind } of scene.changed) {
    const x = scene.set.centres[2 * index] * v.scale + v.dx;
    const y = scene.set.centres[2 * index + 1] * v.scale + v.dy;
    const way = new Path2D();
    if (kind === "added") way.arc(x, y, 5, 0, 7);
    else {
      way.moveTo(x - 5, y - 5);
      way.lineTo(x + 5, y + 5);
    }
    cased(pen, way, c.casing, 5, c.ink, 2);
  }
}

/** @param {CanvasRenderingContext2D} pen @param {Scene} scene @param {View} v @param {Record<string, string>} c */
function linked(pen, scene, v, c) {
  if (!scene.linked) return;
  const way = path([scene.linked.ring], v);
  const fixed = scene.linked.fixed;
  cased(pen, way, c.casing, fixed ? 7 : 4, c.ink, fixed ? 3 : 1.5);
}

/** @param {CanvasRenderingContext2D} pen @param {Scene} scene @param {View} v @param {Record<string, string>} c */
function spots(pen, scene, v, c) {
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.font = `700 16px ${FONT}`;
  for (const spot of scene.spots) {
    const x = spot.x * v.scale + v.dx;
    const y = spot.y * v.scale + v.dy;
    pen.beginPath();
    pen.arc(x, y, 15, 0, 7);
    pen.fillStyle = c.casing;
    pen.fill();
    pen.beginPath();
    pen.arc(x, y, 13, 0, 7);
    pen.fillStyle = c.ink;
    pen.fill();
    pen.fillStyle = c.paper;
    pen.fillText(String(spot.rank), x, y + 1);
  }
}

export const FONT = 'Roboto, system-ui, -apple-system, "Segoe UI", "Noto Sans", sans-serif';
export const FONT_GROUND = '"Libertinus Serif", Georgia, "Noto Serif", serif';

/** Labels come last: places found by labels.js, in pixels. @param {CanvasRenderingContext2D} pen @param {Label[]} labels @param {View} _v @param {Record<string, string>} c */
export function drawLabels(pen, labels, _v, c) {
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  for (const label of labels) {
    pen.font = label.font;
    written(pen, label.words, label.x, label.y, label.accent ? c.accent : label.italic ? c.quiet : c.ink, c.casing);
  }
}
