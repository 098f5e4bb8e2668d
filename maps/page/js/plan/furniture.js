// @ts-check
/** What always stands on the map: north, uphill, scale, attribution, coordinates under the pointer, the zoom buttons. */
import { el, mount, style, svg } from "../dom.js";
import { number } from "../format.js";
import { say } from "../words.js";

/** @param {number} most Longest that fits [m]. @returns {number} 1, 2 or 5 times a power of ten. */
export function roundLength(most) {
  const power = 10 ** Math.floor(Math.log10(most));
  return [5, 2, 1].map((k) => k * power).find((length) => length <= most) ?? power;
}

/** Longitude and latitude as on a map sheet. @param {number} lon @param {number} lat */
export function coordinates(lon, lat) {
  const one = (/** @type {number} */ value, /** @type {string} */ plus, /** @type {string} */ minus) => `${number(Math.abs(value), 5)}\u00b0\u00a0${value < 0 ? minus : plus}`;
  return `${one(lat, "N", "S")}, ${one(lon, "E", "W")}`;
}

export class Furniture {
  /** @param {HTMLElement} element @param {{zoomIn: () => void, zoomOut: () => void, fit: () => void, table: () => void}} acts */
  constructor(element, acts) {
    this.north = el("div", { class: "plan-north", "aria-hidden": "true" });
    this.scale = el("div", { class: "plan-scale", "aria-hidden": "true" });
    this.where = el("span", { class: "plan-where" });
    this.foot = el("div", { class: "plan-foot", "aria-hidden": "true" }, this.where, el("span", { class: "plan-attribution", text: say("plan.attribution") }));
    this.controls = el("div", { class: "plan-controls" },
      el("button", { class: "button", type: "button", "aria-label": say("plan.table"), onclick: acts.table, id: "plan-table-button" }, el("span", { class: "long", text: say("plan.table") }), el("span", { class: "short", text: say("plan.tableShort") })),
      el("button", { class: "button", type: "button", text: say("plan.fit"), onclick: acts.fit, id: "plan-fit" }),
      el("button", { class: "button sign", type: "button", text: "\u2212", "aria-label": say("plan.zoomOut"), onclick: acts.zoomOut, id: "plan-out" }),
      el("button", { class: "button sign", type: "button", text: "+", "aria-label": say("plan.zoomIn"), onclick: acts.zoomIn, id: "plan-in" }));
    element.append(this.north, this.scale, this.foot, this.controls);
    this.setUphill(null);
  }

  /** @param {number | null} bearing Clockwise from north [deg]. */
  setUphill(bearing) {
    const arrow = (/** @type {string} */ kind, /** @type {string} */ words, /** @type {number} */ turn) => {
      const shape = kind === "north" ? svg("path", { d: "M12 2 L19 26 L12 21 L5 26 Z", class: "ink-fill" }) : svg("path", { d: "M12 26 V4 M5 11 L12 3 L19 11 M6 26 H18", class: "ink-stroke" });
      return el("span", { class: "plan-arrow" }, svg("svg", { viewBox: "0 0 24 28", width: 24, height: 28 }, svg("g", { transform: `rotate(${turn} 12 14)` }, shape)), el("span", { text: words }));
    };
    mount(this.north, bearing === null ? null : arrow("uphill", say("plan.uphill"), bearing), arrow("north", say("plan.north"), 0));
  }

  /** @param {number} pixelsPerMetre @param {number} width Of the map [px]. */
  setScale(pixelsPerMetre, width) {
    const metres = roundLength(Math.max(Math.min(160, width * 0.2) / pixelsPerMetre, 1e-3));
    const bar = el("span", { class: "plan-scale-bar" });
    style(bar, { width: `${(metres * pixelsPerMetre).toFixed(1)}px` });
    const words = metres >= 1000 ? `${number(metres / 1000)}\u00a0${say("plan.kilometres")}` : `${number(metres)}\u00a0${say("plan.metres")}`;
    mount(this.scale, bar, el("span", { text: words }));
  }

  /** @param {number | null} lon @param {number} [lat] */
  setWhere(lon, lat = 0) {
    this.where.textContent = lon === null ? "" : coordinates(lon, lat);
  }
}
