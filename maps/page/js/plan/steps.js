// @ts-check
/** The keyboard's way over the map: from tree to tree, along a row and across rows, never by pixels. */

/** @typedef {import("./ground.js").TreeSet} TreeSet */

/** Trees are sorted by block, row, position. @param {TreeSet} set @param {number} i @param {(j: number) => boolean} same @returns {[number, number]} First and last of the stretch. */
function stretch(set, i, same) {
  let first = i;
  let last = i;
  while (first > 0 && same(first - 1)) first -= 1;
  while (last < set.n - 1 && same(last + 1)) last += 1;
  return [first, last];
}

/**
 * Where a key leads.
 * @param {TreeSet} set @param {number} from Index of the tree the keyboard is on, -1 for none yet. @param {string} key
 * @returns {number | null} The tree, null for a key that moves nothing or where there is no tree that way.
 */
export function step(set, from, key) {
  if (!set.n) return null;
  if (from < 0) return ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "PageUp", "PageDown", "Home", "End"].includes(key) ? 0 : null;
  const sameRow = (/** @type {number} */ j) => set.block[j] === set.block[from] && set.row[j] === set.row[from];
  const [first, last] = stretch(set, from, sameRow);
  switch (key) {
    case "Home": return first;
    case "End": return last;
    case "PageUp": return blockStep(set, from, 1);
    case "PageDown": return blockStep(set, from, -1);
    case "ArrowLeft": case "ArrowRight": case "ArrowUp": case "ArrowDown": return arrow(set, from, key, first, last);
    default: return null;
  }
}

/** @param {TreeSet} set @param {number} from @param {number} by */
function blockStep(set, from, by) {
  const wanted = set.block[from] + by;
  const found = set.block.indexOf(wanted);
  return found < 0 ? null : found;
}

/** An arrow goes where it points on the screen: along the row if the row runs that way, else to the next row.
 * @param {TreeSet} set @param {number} from @param {string} key @param {number} first @param {number} last */
function arrow(set, from, key, first, last) {
  const [wx, wy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[key] ?? [0, 0];
  const at = (/** @type {number} */ i, /** @type {number} */ k) => set.corners[8 * from + 2 * i + k];
  // The row's own direction, from the side of the cell that runs along it.
  const [ax, ay] = [at(1, 0) - at(0, 0), at(1, 1) - at(0, 1)];
  const along = (ax * wx + ay * wy) / (Math.hypot(ax, ay) || 1);
  if (Math.abs(along) > Math.SQRT1_2) {
    const next = from + (along > 0 ? 1 : -1);
    return next < first || next > last ? null : next;
  }
  return across(set, from, wx, wy);
}

/** @param {TreeSet} set @param {number} from @param {number} wx @param {number} wy */
function across(set, from, wx, wy) {
  const [x, y] = [set.centres[2 * from], set.centres[2 * from + 1]];
  let best = null;
  let least = Infinity;
  for (const row of [set.row[from] - 1, set.row[from] + 1]) {
    for (let j = 0; j < set.n; j += 1) {
      if (set.block[j] !== set.block[from] || set.row[j] !== row) continue;
      const [dx, dy] = [set.centres[2 * j] - x, set.centres[2 * j + 1] - y];
      const far = Math.hypot(dx, dy);
      if ((dx * wx + dy * wy) / (far || 1) > 0 && far < least) [best, least] = [j, far];
    }
  }
  return best;
}
