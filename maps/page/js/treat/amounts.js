// @ts-check
/** Amounts that are measured out, in the unit that the hand uses. */
import { number } from "../format.js";

/** @type {Record<string, [string, number]>} */
const LARGER = { mL: ["L", 1000], g: ["kg", 1000] };

/** "1.11 L" for 1110 mL, "302 mL" for 302 mL. @param {number | null | undefined} amount @param {string} unit */
export function amount(amount, unit) {
  if (amount === null || amount === undefined) return null;
  const larger = LARGER[unit];
  if (larger && Math.abs(amount) >= larger[1]) return `${digits(amount / larger[1])}\u00a0${larger[0]}`;
  return `${digits(amount)}\u00a0${unit}`;
}

/** Three figures that matter, four from a thousand on. @param {number} value */
function digits(value) {
  const whole = Math.floor(Math.abs(value)).toString().length;
  return number(value, value === 0 ? 0 : Math.max(0, 3 - whole));
}
