// @ts-check
/** Where names stand: outside outlines, never on an outline, a setback, a control or another name; none rather than a small or a covered one. */
import { FONT, FONT_GROUND } from "./draw.js";
import { say } from "../words.js";
import { inside } from "./ground.js";

/** @typedef {{x: number, y: number, w: number, h: number}} Box
 * @typedef {import("./ground.js").View} View */

/** @param {Box} a @param {Box} b */
const meet = (a, b) => a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h;

/**
 * @param {CanvasRenderingContext2D} pen For measuring words.
 * @param {import("./draw.js").Scene} scene @param {View} v
 * @param {Box[]} taken Controls and furniture, in pixels of the map.
 * @returns {import("./draw.js").Label[]}
 */
export function placeLabels(pen, scene, v, taken) {
  const at = (/** @type {[number, number]} */ [x, y]) => /** @type {[number, number]} */ ([x * v.scale + v.dx, y * v.scale + v.dy]);
  const blocks = scene.blocks.map((block) => block.rings[0]?.map(at) ?? []);
  const setbacks = scene.keepOuts.flatMap((one) => [...one.setback, ...one.rings]).map((ring) => ring.map(at));
  const boxes = [...taken, ...scene.spots.map((spot) => ({ x: spot.x * v.scale + v.dx - 16, y: spot.y * v.scale + v.dy - 16, w: 32, h: 32 }))];
  /** @type {import("./draw.js").Label[]} */
  const labels = [];
  const free = (/** @type {Box} */ box, /** @type {[number, number][][]} */ rings) =>
    box.x > 2 && box.y > 2 && box.x + box.w < v.width - 2 && box.y + box.h < v.height - 2 && !boxes.some((other) => meet(box, other)) && !rings.some((ring) => crosses(box, ring));
  const bold = `700 16px ${FONT}`;
  scene.blocks.forEach((block, k) => {
    pen.font = bold;
    const w = pen.measureText(block.name).width + 8;
    const found = around(blocks[k], w, 24).find((box) => free(box, [...blocks, ...setbacks]));
    if (!found) return;
    boxes.push(found);
    labels.push({ words: block.name, x: found.x + w / 2, y: found.y + 13, font: bold, italic: false });
  });
  const serif = `italic 17px ${FONT_GROUND}`;
  for (const one of scene.keepOuts) {
    const ring = one.rings[0]?.map(at) ?? [];
    if (!ring.length || !one.name) continue;
    pen.font = serif;
    const w = pen.measureText(one.name).width + 6;
    const [cx, cy] = middle(ring);
    // Inside where it fits whole, as on a paper map; else beside the setback, never on it.
    const own = { x: cx - w / 2, y: cy - 12, w, h: 24 };
    const fits = [[own.x, own.y], [own.x + w, own.y], [own.x, own.y + 24], [own.x + w, own.y + 24]].every(([x, y]) => inside(x, y, ring));
    const outer = one.setback[0]?.map(at) ?? ring;
    const found = (fits && free(own, blocks) ? own : null) ?? around(outer, w, 24).find((box) => free(box, [...blocks, ...setbacks]));
    if (!found) continue;
    boxes.push(found);
    labels.push({ words: one.name, x: found.x + w / 2, y: found.y + 12, font: serif, italic: true });
  }
  runLabels(pen, scene, at, free, blocks, setbacks, boxes, labels);
  return labels;
}

/** Runs that lie together in a block carry one name: "runs 1–6". @param {CanvasRenderingContext2D} pen @param {import("./draw.js").Scene} scene @param {(point: [number, number]) => [number, number]} at
 * @param {(box: Box, rings: [number, number][][]) => boolean} free @param {[number, number][][]} blocks @param {[number, number][][]} setbacks @param {Box[]} boxes @param {import("./draw.js").Label[]} labels */
function runLabels(pen, scene, at, free, blocks, setbacks, boxes, labels) {
  const font = `700 16px ${FONT}`;
  pen.font = font;
  /** @type {Map<string, {numbers: number[], points: [number, number][]}>} */
  const groups = new Map();
  for (const run of scene.runs) {
    const group = groups.get(run.block) ?? { numbers: [], points: [] };
    group.numbers.push(run.run);
    group.points.push(...run.rings.flat().map(at));
    groups.set(run.block, group);
  }
  for (const { numbers, points } of groups.values()) {
    if (!points.length) continue;
    const [first, last] = [Math.min(...numbers), Math.max(...numbers)];
    const words = first === last ? say("plan.runName", { run: first }) : say("plan.runNames", { from: first, to: last });
    const w = pen.measureText(words).width + 8;
    const found = around(hull(points), w, 24).find((box) => free(box, [...blocks, ...setbacks])) ?? around(hull(points), w, 24).find((box) => free(box, [points, ...setbacks]) && blocks.every((ring) => !crosses(box, ring) || holds(box, ring)));
    if (!found) continue;
    boxes.push(found);
    labels.push({ words, x: found.x + w / 2, y: found.y + 13, font, italic: false, accent: true });
  }
}

/** The box around points, as a ring. @param {[number, number][]} points @returns {[number, number][]} */
function hull(points) {
  const [xs, ys] = [points.map(([x]) => x), points.map(([, y]) => y)];
  const [west, east, north, south] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  return [[west, north], [east, north], [east, south], [west, south], [west, north]];
}

/** Boxes beside a ring, the best first: above its top, below its foot, left, right, then beside each edge.
 * @param {[number, number][]} ring @param {number} w @param {number} h @returns {Box[]} */
function around(ring, w, h) {
  if (!ring.length) return [];
  const xs = ring.map(([x]) => x);
  const ys = ring.map(([, y]) => y);
  const [left, right, top, foot] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const highest = ring[ys.indexOf(top)][0];
  const lowest = ring[ys.indexOf(foot)][0];
  const boxes = [{ x: highest - w / 2, y: top - h - 3, w, h }, { x: lowest - w / 2, y: foot + 4, w, h }];
  const [cx, cy] = middle(ring);
  for (let i = 0; i < ring.length - 1; i += 1) {
    for (const share of [0.5, 0.25, 0.75, 0.05, 0.95]) {
      const x = ring[i][0] + share * (ring[i + 1][0] - ring[i][0]);
      const y = ring[i][1] + share * (ring[i + 1][1] - ring[i][1]);
      const away = Math.hypot(x - cx, y - cy) || 1;
      const [ox, oy] = [(x - cx) / away, (y - cy) / away];
      boxes.push({ x: x + ox * (w / 2 + 8) - w / 2, y: y + oy * (h / 2 + 6) - h / 2, w, h });
      boxes.push({ x: x - w / 2, y: oy < 0 ? y - h - 10 : y + 10, w, h });
    }
  }
  boxes.push({ x: left - w - 4, y: cy - h / 2, w, h }, { x: right + 4, y: cy - h / 2, w, h });
  return boxes;
}

/** @param {[number, number][]} ring @returns {[number, number]} Middle of its box. */
function middle(ring) {
  const xs = ring.map(([x]) => x);
  const ys = ring.map(([, y]) => y);
  return [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2];
}

/** Whether a ring holds the whole of a box. @param {Box} box @param {[number, number][]} ring */
const holds = ({ x, y, w, h }, ring) => [[x, y], [x + w, y], [x, y + h], [x + w, y + h], [x + w / 2, y], [x + w / 2, y + h]].every(([px, py]) => inside(px, py, ring));

/** Whether a box and a ring share ground. @param {Box} box @param {[number, number][]} ring */
export function crosses(box, ring) {
  for (let k = 0; k <= 6; k += 1) {
    const x = box.x + (box.w * k) / 6;
    for (const y of [box.y, box.y + box.h / 2, box.y + box.h]) if (inside(x, y, ring)) return true;
  }
  return ring.some(([x, y]) => x >= box.x && x <= box.x + box.w && y >= box.y && y <= box.y + box.h);
}
