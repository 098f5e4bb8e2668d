// @ts-check
/** Every word of the interface, English first, in files of this kind only: translate these and the page is translated.
 * `{name}` is replaced by a value; `{n:tree|trees}` by the number and the word that goes with it. */
import { number } from "./format.js";
import { groundWords } from "./words-ground.js";
import { pressureWords } from "./words-pressure.js";
import { shellWords } from "./words-shell.js";
import { treatWords } from "./words-treat.js";

/** @type {Record<string, string>} */
export const words = { ...shellWords, ...groundWords, ...pressureWords, ...treatWords };

/**
 * A sentence with its values.
 * @param {string} key
 * @param {Record<string, any>} [values] Numbers are written as the locale writes them.
 */
export function say(key, values = {}) {
  const template = words[key];
  if (template === undefined) throw new Error(`no words for ${key}`);
  return template.replace(/\{(\w+)(?::([^|}]*)\|([^}]*))?\}/g, (_all, name, one, many) => {
    const value = values[name];
    const shown = typeof value === "number" ? number(value) : String(value ?? "");
    if (one === undefined) return shown;
    return `${shown} ${Number(value) === 1 ? one : many}`;
  });
}

/** "No", "One", "Two" … for the start of a title; figures from ten on. @param {number} n */
export function countWord(n) {
  return words["count.words"].split(",")[n] ?? number(n);
}
