// @ts-check
/** Names of marks, written where there is room: the day shown always, what is due first, then what was done. */
import { svg } from "../dom.js";
import { date } from "../format.js";
import { say } from "../words.js";

/** @typedef {{from: number, to: number, lane: number}} Box Pixels along the line; lane -1 is the head.
 * @typedef {{mark: any, x: number, lane: number, shown: boolean}} Placed */

const LETTER_PX = 8.6;
const BESIDE_PX = 14;

/** @param {Placed[]} marks @param {{head: number, lane: number, left: number, right: number, taken: Box[]}} where */
export function nameMarks(marks, { head, lane, left, right, taken }) {
  const boxes = [...taken, ...marks.map((one) => ({ from: one.x - 11, to: one.x + 11, lane: one.lane }))];
  /** @type {SVGElement[]} */
  const made = [];
  const place = (/** @type {string} */ words, /** @type {number} */ x, /** @type {number} */ row, /** @type {number} */ beside, /** @type {string} */ kind, /** @type {boolean} */ leftFirst) => {
    const wide = words.length * LETTER_PX;
    const sides = leftFirst ? [-1, 1] : [1, -1];
    for (const side of sides) {
      const box = side > 0 ? { from: x + beside, to: x + beside + wide, lane: row } : { from: x - beside - wide, to: x - beside, lane: row };
      if (box.from < left || box.to > right || boxes.some((other) => other.lane === row && other.from < box.to && box.from < other.to)) continue;
      boxes.push(box);
      // The lane stops behind a name.
      if (row >= 0) made.push(svg("rect", { class: "behind", x: box.from - 3, y: head + (row + 0.5) * lane - 2, width: wide + 6, height: 4 }));
      made.push(svg("text", { class: kind, x: x + side * beside, y: row < 0 ? 16 : head + (row + 0.5) * lane + 5, "text-anchor": side > 0 ? "start" : "end", text: words }));
      return;
    }
  };
  for (const one of marks.filter(({ shown }) => shown)) place(say("yearline.shownWalk", { date: date(one.mark.date, { day: "numeric", month: "long" }) }), one.x, -1, 8, "strong accent", true);
  const rest = marks.filter(({ mark, shown }) => !shown && (mark.kind !== "walk" || mark.state === "due"));
  for (const one of [...rest.filter(({ mark }) => mark.state === "due"), ...rest.filter(({ mark }) => mark.state !== "due")]) place(one.mark.title, one.x, one.lane, BESIDE_PX, "name halo", one.mark.state === "done" && one.lane === 1);
  return made;
}
