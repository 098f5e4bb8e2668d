// @ts-check
/** What the state says, made into what the map draws. */
import { relative, ringsOf, strip } from "./ground.js";

/** @typedef {import("./ground.js").Origin} Origin
 * @typedef {import("./ground.js").TreeSet} TreeSet */

/** @param {any} state @returns {[number, number] | null} A place in the grove, longitude and latitude. */
export function somewhere(state) {
  const bounds = state.get("grove")?.bounds;
  if (bounds) return [(bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2];
  const first = state.get("blocks")?.features?.[0]?.geometry?.coordinates?.[0]?.[0];
  return first ?? null;
}

/** @param {any} collection @param {Origin} origin @returns {import("./draw.js").Shape[]} */
export function blockShapes(collection, origin) {
  return (collection?.features ?? []).map((/** @type {any} */ one) => ({ id: one.id, name: one.properties.block, rings: ringsOf(one.geometry, origin) }));
}

/** @param {any} collection @param {Origin} origin */
export function keepOutShapes(collection, origin) {
  return (collection?.features ?? []).map((/** @type {any} */ one) => ({
    id: one.id, name: one.properties.name ?? "", kind: one.properties.kind, rings: ringsOf(one.geometry, origin), setback: ringsOf(one.properties.setback, origin),
  }));
}

/** Indices of a stretch of a row, in order. @param {TreeSet} set @param {string} block @param {number} row @param {number} [from] @param {number} [to] */
export function treesOf(set, block, row, from = -Infinity, to = Infinity) {
  const b = set.names.indexOf(block);
  const those = [];
  for (let i = 0; i < set.n; i += 1) if (set.block[i] === b && set.row[i] === row && set.position[i] >= from && set.position[i] <= to) those.push(i);
  return those;
}

/** What a selection frames. @param {any} what @param {TreeSet | null} set @param {import("./draw.js").Shape[]} blocks @param {any} runs FeatureCollection.
 * @returns {import("./draw.js").Linked} */
export function linkedOf(what, set, blocks, runs) {
  if (!what) return null;
  const fixed = Boolean(what.fixed);
  if (what.run !== undefined && what.run !== null && runs && set) {
    const run = runs.features.find((/** @type {any} */ one) => one.properties.run === what.run)?.properties;
    const those = run ? treesOf(set, run.block, run.row, run.from_position, run.to_position) : [];
    if (those.length) return { ring: strip(set, those), fixed };
  }
  if (what.tree && set) {
    const i = set.tree.indexOf(what.tree);
    if (i >= 0) return { ring: strip(set, [i]), fixed };
  }
  if (what.block && what.row !== undefined && what.row !== null && set) {
    const those = treesOf(set, what.block, what.row);
    if (those.length) return { ring: strip(set, those), fixed };
  }
  const block = blocks.find((one) => one.name === what.block);
  return block ? { ring: block.rings[0], fixed } : null;
}

/** @param {any} collection @param {TreeSet | null} set @param {boolean} filled */
export function runShapes(collection, set, filled) {
  if (!collection || !set) return [];
  return collection.features.map((/** @type {any} */ one) => {
    const run = one.properties;
    const those = treesOf(set, run.block, run.row, run.from_position, run.to_position);
    return { rings: those.length ? [strip(set, those)] : [], filled, run: run.run, block: run.block };
  });
}

/** The disc of a hot spot stands beside its block: from its middle straight to the nearest outline and on a little.
 * @param {any} collection @param {Origin} origin @param {import("./draw.js").Shape[]} blocks @param {number} metre */
export function spotMarks(collection, origin, blocks, metre) {
  return (collection?.features ?? []).map((/** @type {any} */ one) => {
    const ring = ringsOf(one.geometry, origin)[0] ?? [];
    const point = one.geometry?.type === "Point" ? relative(one.geometry.coordinates[0], one.geometry.coordinates[1], origin) : mean(ring);
    const outline = blocks.find((block) => block.name === one.properties.block)?.rings[0] ?? [];
    const edge = nearest(point, outline);
    const away = Math.hypot(edge[0] - point[0], edge[1] - point[1]) || 1;
    const on = 1 + (5 * metre) / away;
    return { rank: one.properties.hot_spot, x: point[0] + (edge[0] - point[0]) * on, y: point[1] + (edge[1] - point[1]) * on };
  });
}

/** @param {import("./ground.js").Ring} ring @returns {[number, number]} */
function mean(ring) {
  const n = ring.length || 1;
  return [ring.reduce((sum, [x]) => sum + x, 0) / n, ring.reduce((sum, [, y]) => sum + y, 0) / n];
}

/** @param {[number, number]} point @param {import("./ground.js").Ring} ring @returns {[number, number]} */
function nearest(point, ring) {
  let best = point;
  let least = Infinity;
  for (let i = 0; i < ring.length - 1; i += 1) {
    const [x, y] = ring[i];
    const [dx, dy] = [ring[i + 1][0] - x, ring[i + 1][1] - y];
    const share = Math.max(0, Math.min(1, ((point[0] - x) * dx + (point[1] - y) * dy) / (dx * dx + dy * dy || 1)));
    const at = /** @type {[number, number]} */ ([x + share * dx, y + share * dy]);
    const far = Math.hypot(at[0] - point[0], at[1] - point[1]);
    if (far < least) [best, least] = [at, far];
  }
  return best;
}

/** The bearing in the middle of several, null for none. @param {number[]} bearings */
export function middleBearing(bearings) {
  if (!bearings.length) return null;
  const sum = bearings.reduce(([e, n], b) => [e + Math.sin((b * Math.PI) / 180), n + Math.cos((b * Math.PI) / 180)], [0, 0]);
  return (Math.round((Math.atan2(sum[0], sum[1]) * 180) / Math.PI) + 360) % 360;
}
