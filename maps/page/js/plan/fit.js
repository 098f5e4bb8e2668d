// @ts-check
/** The whole grove in view, as large as it goes: no block under a control, room for the names around. */
import { crosses } from "./labels.js";

/** @typedef {import("./labels.js").Box} Box
 * @typedef {import("./ground.js").Ring} Ring */

const EDGE_PX = 12;
const NAME_PX = 30;

/** How much of each edge the controls on it take. @param {Box[]} taken @param {number} width @param {number} height */
function strips(taken, width, height) {
  const most = { top: NAME_PX, foot: NAME_PX, left: EDGE_PX, right: EDGE_PX };
  for (const box of taken) {
    if (box.y < height / 2) most.top = Math.max(most.top, box.y + box.h + 4);
    else most.foot = Math.max(most.foot, height - box.y + 4);
    if (box.x + box.w / 2 < width / 2) most.left = Math.max(most.left, Math.min(box.x + box.w + 4, width / 3));
    else most.right = Math.max(most.right, Math.min(width - box.x + 4, width / 3));
  }
  return most;
}

/**
 * The largest view that keeps every ring clear of what is taken.
 * @param {Ring[]} rings World units. @param {Box[]} taken Controls, in pixels of the map. @param {number} width @param {number} height
 * @returns {{scale: number, dx: number, dy: number} | null} Null where there is nothing to show or no room.
 */
export function bestView(rings, taken, width, height) {
  const points = rings.flat();
  if (!points.length) return null;
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  const [west, east, north, south] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const clear = strips(taken, width, height);
  let best = null;
  for (const top of [NAME_PX, clear.top]) for (const foot of [NAME_PX, clear.foot]) for (const left of [EDGE_PX, clear.left]) for (const right of [EDGE_PX, clear.right]) {
    const [across, down] = [width - left - right, height - top - foot];
    if (across < 40 || down < 40) continue;
    const scale = Math.min(across / (east - west), down / (south - north), 2 ** 21);
    const [spareX, spareY] = [across - scale * (east - west), down - scale * (south - north)];
    // What is left over in the one direction is used to slip between the controls.
    for (const share of [0.5, 0.2, 0.8, 0, 1]) {
      const view = { scale, dx: left + share * spareX - scale * west, dy: top + 0.5 * spareY - scale * north };
      if (best && scale <= best.scale * 1.001) break;
      const drawn = rings.map((ring) => ring.map(([x, y]) => /** @type {[number, number]} */ ([x * scale + view.dx, y * scale + view.dy])));
      if (!taken.some((box) => drawn.some((ring) => crosses(box, ring)))) best = view;
    }
  }
  return best;
}
