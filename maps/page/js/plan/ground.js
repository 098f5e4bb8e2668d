// @ts-check
/** Where things stand: longitude and latitude turned once into flat numbers, so that a frame of the map is additions and products only. */

/** @typedef {{scale: number, dx: number, dy: number, width: number, height: number}} View World to screen pixels: x * scale + dx.
 * @typedef {{lon: number, lat: number, x: number, y: number}} Origin
 * @typedef {{n: number, corners: Float64Array, centres: Float64Array, block: number[], row: number[], position: number[], tree: string[], names: string[], metre: number}} TreeSet
 * @typedef {[number, number][]} Ring */

/** Web Mercator (EPSG:3857) at zoom 0: 256 px around the world. @param {number} lon @param {number} lat @returns {[number, number]} */
export function world(lon, lat) {
  const phi = (lat * Math.PI) / 180;
  return [(256 * (lon + 180)) / 360, 256 * (0.5 - Math.log(Math.tan(Math.PI / 4 + phi / 2)) / (2 * Math.PI))];
}

/** World units in a metre at a latitude (sphere of 6,378,137 m, as Web Mercator has it). @param {number} lat */
export function metreAt(lat) {
  return 256 / (2 * Math.PI * 6378137 * Math.cos((lat * Math.PI) / 180));
}

/** Everything is kept relative to a place in the grove: whole world coordinates would lose millimetres. @param {number} lon @param {number} lat @returns {Origin} */
export function originAt(lon, lat) {
  const [x, y] = world(lon, lat);
  return { lon, lat, x, y };
}

/** @param {any} geometry GeoJSON. @param {Origin} origin @returns {Ring[]} The rings or lines in it. */
export function ringsOf(geometry, origin) {
  if (!geometry) return [];
  const flat = (/** @type {[number, number][]} */ ring) => ring.map(([lon, lat]) => /** @type {[number, number]} */ (relative(lon, lat, origin)));
  if (geometry.type === "Polygon" || geometry.type === "MultiLineString") return geometry.coordinates.map(flat);
  if (geometry.type === "MultiPolygon") return geometry.coordinates.flat().map(flat);
  if (geometry.type === "LineString") return [flat(geometry.coordinates)];
  return [];
}

/** @param {number} lon @param {number} lat @param {Origin} origin @returns {[number, number]} */
export function relative(lon, lat, origin) {
  const [x, y] = world(lon, lat);
  return [x - origin.x, y - origin.y];
}

/** Trees as the service sends them, made flat. @param {any} trees GET …/trees @param {Origin} origin @returns {TreeSet} */
export function treeSet(trees, origin) {
  const { columns, cells } = trees;
  const n = columns.tree.length;
  const corners = new Float64Array(8 * n);
  const centres = new Float64Array(2 * n);
  for (let i = 0; i < n; i += 1) {
    [centres[2 * i], centres[2 * i + 1]] = relative(columns.longitude[i], columns.latitude[i], origin);
    const cell = cells.corners[i] ?? [];
    for (let k = 0; k < 4; k += 1) {
      const [x, y] = cell.length === 8 ? relative(cells.origin[0] + cell[2 * k] * cells.step_deg, cells.origin[1] + cell[2 * k + 1] * cells.step_deg, origin) : [centres[2 * i], centres[2 * i + 1]];
      corners[8 * i + 2 * k] = x;
      corners[8 * i + 2 * k + 1] = y;
    }
  }
  return { n, corners, centres, block: columns.block, row: columns.row, position: columns.position, tree: columns.tree, names: trees.blocks, metre: metreAt(origin.lat) };
}

/** The outline around the cells of some trees of one row, in the order of their positions: down one side, back on the other.
 * @param {TreeSet} set @param {number[]} those @returns {Ring} */
export function strip(set, those) {
  const there = /** @type {Ring} */ ([]);
  const back = /** @type {Ring} */ ([]);
  those.forEach((i) => {
    const at = (/** @type {number} */ k) => /** @type {[number, number]} */ ([set.corners[8 * i + 2 * k], set.corners[8 * i + 2 * k + 1]]);
    there.push(at(0), at(1));
    back.unshift(at(2), at(3));
  });
  return [...there, ...back];
}

/** Which tree stands at a point, or nearest to it within a reach. Buckets keep a move of the pointer cheap. */
export class Finder {
  /** @param {TreeSet} set */
  constructor(set) {
    this.set = set;
    this.size = 12 * set.metre;
    /** @type {Map<string, number[]>} */
    this.buckets = new Map();
    for (let i = 0; i < set.n; i += 1) {
      const key = this.key(set.centres[2 * i], set.centres[2 * i + 1]);
      const those = this.buckets.get(key);
      if (those) those.push(i);
      else this.buckets.set(key, [i]);
    }
  }

  /** @param {number} x @param {number} y */
  key(x, y) {
    return `${Math.floor(x / this.size)},${Math.floor(y / this.size)}`;
  }

  /** @param {number} x @param {number} y @param {number} reach World units. @returns {number} Index, -1 when none is near. */
  at(x, y, reach) {
    const { centres } = this.set;
    let best = -1;
    let least = reach * reach;
    const steps = Math.min(4, Math.max(1, Math.ceil(reach / this.size)));
    for (let ix = -steps; ix <= steps; ix += 1) {
      for (let iy = -steps; iy <= steps; iy += 1) {
        for (const i of this.buckets.get(this.key(x + ix * this.size, y + iy * this.size)) ?? []) {
          const far = (centres[2 * i] - x) ** 2 + (centres[2 * i + 1] - y) ** 2;
          if (far < least) [best, least] = [i, far];
        }
      }
    }
    return best;
  }
}

/** Whether a point lies in a ring (even-odd rule). @param {number} x @param {number} y @param {Ring} ring */
export function inside(x, y, ring) {
  let within = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i, i += 1) {
    const [xi, yi] = ring[i];
    const [xj, yj] = ring[j];
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) within = !within;
  }
  return within;
}
