// @ts-check
/** Pens and patterns of the map: hatches in screen units, continuous across cells. One look for doubt. */
import { token } from "../dom.js";

const NAMES = ["paper", "ground", "well", "line", "edge", "quiet", "ink", "accent", "casing", "water", "water-edge", "on-accent"];

/** The colours of now, read once for a whole frame. @returns {Record<string, string>} */
export function colours() {
  return Object.fromEntries(NAMES.map((name) => [name, token(name)]));
}

/** @param {number} size @param {number} ratio @param {(pen: CanvasRenderingContext2D) => void} draw @param {CanvasRenderingContext2D} on @returns {CanvasPattern} */
function pattern(size, ratio, draw, on) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = Math.round(size * ratio);
  const pen = /** @type {CanvasRenderingContext2D} */ (tile.getContext("2d"));
  pen.scale(tile.width / size, tile.width / size);
  draw(pen);
  const made = /** @type {CanvasPattern} */ (on.createPattern(tile, "repeat"));
  made.setTransform(new DOMMatrix().scale(size / tile.width));
  return made;
}

/** Lines at 45 degrees, falling to the right, `step` px apart measured across them. Four to a tile, so that its side is nearly whole pixels.
 * @param {CanvasRenderingContext2D} on @param {number} ratio @param {string} colour @param {number} width @param {number} step */
function hatch(on, ratio, colour, width, step) {
  const size = Math.round(4 * step * Math.SQRT2);
  return pattern(size, ratio, (pen) => {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.beginPath();
    for (let k = -4; k < 8; k += 1) {
      const x = (k * size) / 4;
      pen.moveTo(x - size, -size);
      pen.lineTo(x + 2 * size, 2 * size);
    }
    pen.stroke();
  }, on);
}

/** @param {CanvasRenderingContext2D} on @param {number} ratio @param {Record<string, string>} c @returns {Record<string, CanvasPattern>} */
export function patterns(on, ratio, c) {
  return {
    doubtful: hatch(on, ratio, c.ink, 1.2, 9),
    unknown: hatch(on, ratio, c.ink, 1.5, 6),
    setback: pattern(8, ratio, (pen) => {
      pen.fillStyle = c.edge;
      for (const [x, y] of [[2, 2], [6, 6]]) { pen.beginPath(); pen.arc(x, y, 1.15, 0, 7); pen.fill(); }
    }, on),
    water: pattern(24, ratio, (pen) => {
      pen.strokeStyle = c["water-edge"];
      pen.lineWidth = 1;
      for (const y of [6, 18]) {
        const start = y === 6 ? 0 : 12;
        pen.beginPath();
        pen.moveTo(start, y);
        pen.quadraticCurveTo(start + 3, y - 3, start + 6, y);
        pen.quadraticCurveTo(start + 9, y + 3, start + 12, y);
        pen.stroke();
      }
    }, on),
    bush: pattern(22, ratio, (pen) => {
      pen.strokeStyle = c.edge;
      pen.lineWidth = 1.2;
      for (const [x, y] of [[6, 8], [17, 19]]) { pen.beginPath(); pen.arc(x, y, 3.5, Math.PI, 2 * Math.PI); pen.stroke(); }
    }, on),
  };
}

/** A path through world rings. @param {import("./ground.js").Ring[]} rings @param {import("./ground.js").View} v @param {boolean} [closed] */
export function path(rings, v, closed = true) {
  const made = new Path2D();
  for (const ring of rings) {
    ring.forEach(([x, y], i) => (i ? made.lineTo(x * v.scale + v.dx, y * v.scale + v.dy) : made.moveTo(x * v.scale + v.dx, y * v.scale + v.dy)));
    if (closed) made.closePath();
  }
  return made;
}

/** A line laid on data: a casing below, the line above. @param {CanvasRenderingContext2D} pen @param {Path2D} way @param {string} casing @param {number} wide @param {string} colour @param {number} width */
export function cased(pen, way, casing, wide, colour, width) {
  pen.lineJoin = "round";
  pen.strokeStyle = casing;
  pen.lineWidth = wide;
  pen.stroke(way);
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  pen.stroke(way);
}

/** Words with a halo. @param {CanvasRenderingContext2D} pen @param {string} words @param {number} x @param {number} y @param {string} colour @param {string} casing */
export function written(pen, words, x, y, colour, casing) {
  pen.lineJoin = "round";
  pen.strokeStyle = casing;
  pen.lineWidth = 4;
  pen.strokeText(words, x, y);
  pen.fillStyle = colour;
  pen.fillText(words, x, y);
}
