// @ts-check
/** Change since the walk before, as arrows: where cells are small one arrow stands for the trees around it. */
import { arrowPath, arrowSize } from "../pressure/arrows.js";
import { cased } from "./pens.js";

const STEP_PX = 26;

/** @param {CanvasRenderingContext2D} pen @param {import("./draw.js").Scene} scene @param {import("./ground.js").View} v @param {Record<string, string>} c */
export function drawChange(pen, scene, v, c) {
  const { set, paints } = scene;
  if (!set || !paints) return;
  /** @type {Map<string, {x: number, y: number, sum: number, n: number}>} */
  const around = new Map();
  for (let i = 0; i < set.n; i += 1) {
    const ratio = paints[i].arrow;
    if (ratio === undefined || ratio === null) continue;
    const [x, y] = [set.centres[2 * i] * v.scale, set.centres[2 * i + 1] * v.scale];
    if (x + v.dx < -STEP_PX || y + v.dy < -STEP_PX || x + v.dx > v.width + STEP_PX || y + v.dy > v.height + STEP_PX) continue;
    // The squares lie still on the ground while the map is moved.
    const key = `${Math.floor(x / STEP_PX)},${Math.floor(y / STEP_PX)}`;
    const one = around.get(key) ?? { x: 0, y: 0, sum: 0, n: 0 };
    around.set(key, { x: one.x + x, y: one.y + y, sum: one.sum + ratio, n: one.n + 1 });
  }
  const arrows = new Path2D();
  for (const { x, y, sum, n } of around.values()) {
    const size = arrowSize(sum / n, 0.8);
    if (size) arrows.addPath(new Path2D(arrowPath(x / n + v.dx, y / n + v.dy, size)));
  }
  pen.lineCap = "round";
  cased(pen, arrows, c.casing, 5, c.ink, 2.2);
  pen.lineCap = "butt";
}
