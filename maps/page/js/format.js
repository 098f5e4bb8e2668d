// @ts-check
/** Numbers and dates as the reader's locale writes them. A missing value is an en dash. */

const locale = () => document.documentElement.dataset.locale || navigator.language || "en";
const missing = "\u2013";
/** @param {any} value */
const absent = (value) => value === null || value === undefined || value === "" || Number.isNaN(value);

/** @param {number | null | undefined} value @param {number} [digits] Digits after the point; as many as are needed, two at most, when left out. */
export function number(value, digits) {
  if (absent(value)) return missing;
  const how = digits === undefined ? { maximumFractionDigits: 2 } : { minimumFractionDigits: digits, maximumFractionDigits: digits };
  return new Intl.NumberFormat(locale(), how).format(/** @type {number} */ (value));
}

/** @param {number | null | undefined} value @param {string} unit As written: "m", "L", "a beat". @param {number} [digits] */
export function withUnit(value, unit, digits) {
  return absent(value) ? missing : `${number(value, digits)}\u00a0${unit}`;
}

/** A value with its limits in brackets: "2.7 (1.9 to 3.9)".
 * @param {number | null | undefined} median @param {number | null | undefined} low @param {number | null | undefined} high @param {number} [digits] */
export function limits(median, low, high, digits = 1) {
  if (absent(median)) return missing;
  return absent(low) || absent(high) ? number(median, digits) : `${number(median, digits)} (${number(low, digits)} to ${number(high, digits)})`;
}

/** A day of the grove's calendar (YYYY-MM-DD), written out: "12 November 2025".
 * @param {string | null | undefined} iso @param {Intl.DateTimeFormatOptions} [how] */
export function date(iso, how = { day: "numeric", month: "long", year: "numeric" }) {
  if (absent(iso)) return missing;
  const [year, month, day] = String(iso).slice(0, 10).split("-").map(Number);
  return new Intl.DateTimeFormat(locale(), { ...how, timeZone: "UTC" }).format(new Date(Date.UTC(year, month - 1, day)));
}

/** A moment (UTC), in the time zone of the grove. @param {string | null | undefined} iso @param {string} [timeZone] */
export function dateTime(iso, timeZone) {
  if (absent(iso)) return missing;
  const how = /** @type {Intl.DateTimeFormatOptions} */ ({ day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" });
  return new Intl.DateTimeFormat(locale(), { ...how, timeZone }).format(new Date(String(iso)));
}

/** @param {number | null | undefined} value @param {string} currency Three letters. @param {number} [digits] */
export function money(value, currency, digits = 0) {
  if (absent(value)) return missing;
  const how = /** @type {Intl.NumberFormatOptions} */ ({ style: "currency", currency, currencyDisplay: "narrowSymbol", minimumFractionDigits: digits, maximumFractionDigits: digits });
  return new Intl.NumberFormat(locale(), how).format(/** @type {number} */ (value));
}

/** @param {number | null | undefined} ha */
export function area(ha) {
  return withUnit(ha, "ha", 2);
}

/** @param {number | null | undefined} share 0 to 1. @param {number} [digits] */
export function percent(share, digits = 0) {
  if (absent(share)) return missing;
  return new Intl.NumberFormat(locale(), { style: "percent", maximumFractionDigits: digits }).format(/** @type {number} */ (share));
}

/** A number typed by a person: a decimal comma is as good as a point. @param {string} typed @returns {number | null} Null when it is no number. */
export function typedNumber(typed) {
  const text = typed.trim().replace(/\s|\u00a0|\u202f/g, "").replace(",", ".");
  return text !== "" && Number.isFinite(Number(text)) ? Number(text) : null;
}

/** @returns {string} The locale numbers and dates are written in. */
export function localeNow() {
  return locale();
}
