// @ts-check
/** The four ways to act, side by side, each with the grove in small. */
import { el, svg } from "../dom.js";
import { money, number, percent, withUnit } from "../format.js";
import { say } from "../words.js";

const MAP = { width: 132, height: 84 };

/** @param {any} blocks FeatureCollection @returns {(position: [number, number]) => [number, number]} */
function smallScale(blocks) {
  let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const block of blocks.features) {
    for (const [x, y] of block.geometry.coordinates[0]) [west, south, east, north] = [Math.min(west, x), Math.min(south, y), Math.max(east, x), Math.max(north, y)];
  }
  const squeeze = Math.cos((((south + north) / 2) * Math.PI) / 180);
  const scale = Math.min((MAP.width - 8) / ((east - west) * squeeze), (MAP.height - 8) / (north - south));
  return ([x, y]) => [4 + (x - west) * squeeze * scale, MAP.height - 4 - (y - south) * scale];
}

/** @param {[number, number][]} ring @param {(position: [number, number]) => [number, number]} place */
const path = (ring, place) => `M${ring.map((position) => place(position).map((value) => value.toFixed(1)).join(" ")).join("L")}`;

/** @param {any} blocks @param {(name: string) => boolean} filled @param {any} [runs] */
function smallMap(blocks, filled, runs) {
  const place = smallScale(blocks);
  const drawing = svg("svg", { class: "small-map", viewBox: `0 0 ${MAP.width} ${MAP.height}`, "aria-hidden": "true" });
  for (const block of blocks.features) {
    drawing.append(svg("path", { class: filled(block.properties.block) ? "filled" : "outline", d: `${path(block.geometry.coordinates[0], place)}Z` }));
  }
  for (const run of runs?.features ?? []) drawing.append(svg("path", { class: "run", d: path(run.geometry.coordinates, place) }));
  return drawing;
}

/** @param {any} ctx @param {any} options GET …/options @param {string | null} chosen */
export function drawOptions(ctx, options, chosen) {
  const blocks = ctx.state.get("blocks");
  const runs = ctx.state.get("zone")?.runs;
  const { currency } = options;
  const names = options.options.map((/** @type {any} */ option) => option.option);
  const of = (/** @type {any} */ option) => new Set(String(option.blocks || "").split(", "));
  const filled = (/** @type {any} */ option) => (/** @type {string} */ name) => option.option === "everything" || (option.option === "blocks" && of(option).has(name));
  const cell = (/** @type {any} */ option, /** @type {any} */ content, /** @type {string} */ label) =>
    el("td", { class: option.option === chosen ? "chosen" : "", data: { label } }, content);
  const line = (/** @type {string} */ words, /** @type {(option: any) => any} */ content, kind = "") =>
    el("tr", { class: kind }, el("th", { scope: "row", text: words }), ...options.options.map((/** @type {any} */ option) => cell(option, content(option), words)));
  return el("div", { class: "scroll", tabindex: "0", role: "group", "aria-label": say("treat.title") }, el("table", { class: "options", data: { chosen: names.indexOf(chosen) } },
    el("caption", { class: "unseen", text: say("treat.title") }),
    el("thead", {}, el("tr", {}, el("td", {}), ...options.options.map((/** @type {any} */ option) => el("th", { scope: "col", class: option.option === chosen ? "chosen" : "" },
      blocks && smallMap(blocks, filled(option), option.option === "spot" ? runs : null),
      el("span", { text: say(`treat.option.${option.option}`) }), option.option === options.best && el("em", { text: say("treat.best") }))))),
    el("tbody", {},
      line(say("treat.trees"), (option) => number(option.trees, 0)),
      line(say("treat.litresHours"), (option) => say("treat.litresHoursValue", { litres: withUnit(option.litres, "L", 0), hours: withUnit(option.hours, "h", 1) })),
      line(say("treat.spendLoss"), (option) => `${money(option.spend, currency)} + ${money(option.likely_loss, currency)}`, "quiet"),
      line(say("treat.expect"), (option) => money(option.expected_cost, currency), "strong"),
      line(say("treat.chance"), (option) => bar(option.chance_cheapest)))));
}

/** A share as a bar with its number beside it. @param {number} share */
function bar(share) {
  const drawing = svg("svg", { class: "share-bar", viewBox: "0 0 72 12", "aria-hidden": "true" }, svg("rect", { class: "share-frame", x: 0.75, y: 0.75, width: 70.5, height: 10.5 }), svg("rect", { class: "share-fill", x: 0.75, y: 0.75, width: 70.5 * share, height: 10.5 }));
  return el("span", { class: "share" }, drawing, percent(share));
}
