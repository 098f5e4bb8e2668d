// @ts-check
/** Seasons of the grove: which one a day belongs to, which ones there are to go to. */

/** @typedef {{start: string, end: string, year: number}} Season */

const DAY_MS = 86_400_000;

/** @param {number} year @param {string} start MM-DD @returns {Season} The season that starts in this year. */
export function seasonOf(year, start) {
  const [month, day] = start.split("-").map(Number);
  const end = new Date(Date.UTC(year + 1, month - 1, day) - DAY_MS).toISOString().slice(0, 10);
  return { start: `${year}-${start}`, end, year };
}

/** @param {string} iso A day. @param {string} start MM-DD @returns {Season} */
export function seasonAt(iso, start) {
  const year = Number(iso.slice(0, 4));
  return seasonOf(iso.slice(5, 10) >= start ? year : year - 1, start);
}

/** Every season from the first mark to today or the last mark, oldest first. @param {string[]} days @param {string} start MM-DD @returns {Season[]} */
export function seasonsOf(days, start) {
  const years = days.map((iso) => seasonAt(iso, start).year);
  if (!years.length) return [];
  const first = Math.min(...years);
  return Array.from({ length: Math.max(...years) - first + 1 }, (_none, i) => seasonOf(first + i, start));
}

/** "2025–26", or the one year of a season that keeps to it. @param {Season} season */
export function seasonName({ start, end }) {
  const [from, to] = [start.slice(0, 4), end.slice(0, 4)];
  return from === to ? from : `${from}–${to.slice(2)}`;
}
