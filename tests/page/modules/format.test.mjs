// Numbers and dates as the Unicode Common Locale Data Repository writes them (cldr.unicode.org: "Number Patterns",
// "Date/Time Patterns"; the values here are those of its charts for en-GB, de and fr). Symbols: SI Brochure (BIPM, 9th
// ed. 2019), section 5.4.3: a space stands between number and unit.
import assert from "node:assert/strict";
import { test } from "node:test";
import { inLocale } from "./setup.mjs";
import { area, date, dateTime, limits, money, number, percent, typedNumber, withUnit } from "../../../maps/page/js/format.js";
import { amount } from "../../../maps/page/js/treat/amounts.js";

const plain = (words) => words.replace(/[\u00a0\u202f]/g, " ");

test("numbers follow the locale", () => {
  assert.equal(number(1234.5), "1,234.5");
  assert.equal(number(2, 1), "2.0");
  inLocale("de", () => assert.equal(number(1234.5), "1.234,5"));
  inLocale("fr", () => assert.equal(plain(number(1234.5)), "1 234,5"));
});

test("days are written out and are not moved by a time zone", () => {
  assert.equal(date("2025-11-12"), "12 November 2025");
  assert.equal(date("2025-11-12T23:59:00Z"), "12 November 2025");
  inLocale("de", () => assert.equal(date("2025-11-12"), "12. November 2025"));
  inLocale("fr", () => assert.equal(date("2025-11-12"), "12 novembre 2025"));
});

test("a moment is told in the grove's zone", () => {
  // Pacific/Auckland is 13 hours ahead of UTC in January (tz database, New Zealand daylight time).
  assert.equal(dateTime("2026-01-31T12:30:00Z", "Pacific/Auckland"), "1 February at 01:30");
  assert.equal(dateTime("2026-01-31T12:30:00Z", "UTC"), "31 January at 12:30");
});

test("shares, areas, units and money", () => {
  assert.equal(percent(0.4), "40%");
  inLocale("fr", () => assert.equal(plain(percent(0.4)), "40 %"));
  assert.equal(area(4.723), "4.72\u00a0ha");
  assert.equal(withUnit(12.5, "m"), "12.5\u00a0m");
  assert.match(money(1200, "EUR"), /^€1,200$/);
  inLocale("de", () => assert.equal(plain(money(1200, "EUR")), "1.200 €"));
});

test("what is missing is a dash, never a nought", () => {
  for (const nothing of [null, undefined, Number.NaN, ""]) {
    for (const write of [number, (value) => withUnit(value, "m"), area, percent, date, dateTime, (value) => limits(value, 1, 2)]) assert.equal(write(nothing), "–");
  }
  assert.equal(number(0), "0");
  assert.equal(limits(2.7, null, 3.9), "2.7");
  assert.equal(limits(2.7, 1.9, 3.94), "2.7 (1.9 to 3.9)");
});

test("a decimal comma is as good as a point", () => {
  assert.equal(typedNumber(" 2,5 "), 2.5);
  assert.equal(typedNumber("1\u202f200"), 1200);
  for (const nonsense of ["", "three", "1,2,3", "1e999", "--1"]) assert.equal(typedNumber(nonsense), null);
});

test("what is measured out stands in the unit of the hand (1 L = 1000 mL, 1 kg = 1000 g: SI Brochure, table 8 and section 3)", () => {
  assert.equal(plain(amount(1110, "mL")), "1.11 L");
  assert.equal(plain(amount(302, "mL")), "302 mL");
  assert.equal(plain(amount(999.4, "g")), "999 g");
  assert.equal(plain(amount(2500, "g")), "2.50 kg");
  assert.equal(plain(amount(3, "packets")), "3.00 packets");
  assert.equal(amount(null, "mL"), null);
});
