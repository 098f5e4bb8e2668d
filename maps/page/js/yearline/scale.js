// @ts-check
/** The sums of the year line, free of the page: where a day stands, which lane a mark belongs to, which mark comes next. */

const DAY_MS = 86_400_000;

/** Days since 1970 of a day of the calendar. @param {string} iso YYYY-MM-DD @returns {number} */
export function dayNumber(iso) {
  const [year, month, day] = iso.slice(0, 10).split("-").map(Number);
  return Math.round(Date.UTC(year, month - 1, day) / DAY_MS);
}

/** @param {string} start First day. @param {string} end Last day. @param {number} left @param {number} right Pixels. */
export function makeScale(start, end, left, right) {
  const first = dayNumber(start);
  const days = Math.max(dayNumber(end) - first, 1);
  return {
    first, days,
    /** @param {string} iso */
    x: (iso) => left + ((dayNumber(iso) - first) / days) * (right - left),
  };
}

/** The first days of the months inside a season. @param {string} start @param {string} end @returns {string[]} */
export function monthStarts(start, end) {
  let [year, month] = start.split("-").map(Number);
  const starts = [];
  for (;;) {
    const iso = `${year}-${String(month).padStart(2, "0")}-01`;
    if (iso > end) return starts;
    if (iso >= start) starts.push(iso);
    month += 1;
    if (month > 12) [year, month] = [year + 1, 1];
  }
}

/** @type {Record<string, string>} */
const LANES = { walk: "walks", zone: "treatments", treatment: "treatments", follow_up: "treatments" };

/** @param {string} kind @returns {string} The lane that a kind of mark stands in. */
export function laneOf(kind) {
  return LANES[kind] ?? "sward";
}

/** Marks in the order of the days, then of the lanes. @param {any[]} marks @returns {any[]} */
export function inOrder(marks) {
  const lanes = ["walks", "treatments", "sward"];
  return [...marks].sort((one, other) => one.date.localeCompare(other.date) || lanes.indexOf(laneOf(one.kind)) - lanes.indexOf(laneOf(other.kind)));
}

/** @param {number} length @param {number} at -1 for none. @param {string} key @returns {number} */
export function nextMark(length, at, key) {
  if (!length) return -1;
  if (key === "Home") return 0;
  if (key === "End") return length - 1;
  if (at < 0) return key === "ArrowLeft" ? length - 1 : 0;
  return Math.min(Math.max(at + (key === "ArrowRight" ? 1 : -1), 0), length - 1);
}
