// @ts-check
/** While a shape or a line is drawn: what the current edge measures, and every act of the pointer as a button or a field. */
import { announce, el, mount } from "../dom.js";
import { area, number, typedNumber } from "../format.js";
import { say } from "../words.js";
import { button, field } from "./fields.js";
import { areaHa, bearingDeg, lengthM, onwards, typedPlace } from "./geo.js";
import { placeField, see, start } from "./place.js";

/** @typedef {import("./geo.js").LonLat} LonLat
 * @typedef {"block" | "keepout" | "split" | "line" | "point"} Purpose */

/** Where what was drawn goes on to. @type {Record<string, (ground: any, corners: LonLat[], given: any) => any>} */
const NEXT = {
  block: (ground, corners, given) => ground.show("blocknew", { corners, name: given.name }),
  keepout: (ground, corners) => ground.show("keepout", { corners }),
  split: (ground, line, given) => ground.show("split", { block: given.block, line }),
  line: (ground, line, given) => ground.show(given.back.view, { ...given.back.given, line }),
};

/** @param {import("./sheet.js").Sheet} ground @param {{purpose: Purpose, block?: any, name?: string, back?: any}} given */
export async function open(ground, given) {
  const { drawing, overlay, plan } = ground;
  const purpose = given.purpose;
  const shape = purpose === "block" || purpose === "keepout";
  const known = start(ground);
  const touch = matchMedia("(pointer: coarse)").matches;
  const readout = el("dl", { class: "ground-readout" });
  /** @type {LonLat[]} */
  let corners = [];
  const close = button(say(shape ? "ground.draw.close" : "ground.draw.finish"), () => finish(), "main", { id: "draw-close" });
  const undo = button(say("ground.draw.undo"), () => back(), "", { id: "draw-undo" });
  const stop = () => (given.block ? ground.show("block", { block: given.block.id }) : ground.home());
  const tell = (/** @type {LonLat[]} */ now, /** @type {LonLat | null} */ cursor) => {
    corners = now;
    const last = now.at(-1);
    // By touch the pointer rests on the corner it has just set: then the edge is the one that led there.
    const ends = last && cursor && lengthM(last, cursor) > 0.05 ? [last, cursor] : now.length > 1 ? now.slice(-2) : null;
    const edge = ends ? [lengthM(ends[0], ends[1]), bearingDeg(ends[0], ends[1])] : null;
    const line = (/** @type {string} */ words, /** @type {string} */ value) => el("div", {}, el("dt", { text: words }), el("dd", { text: value }));
    mount(readout, line(say("ground.draw.edge"), edge ? say("ground.draw.edgeValue", { m: number(edge[0], 1), deg: number(edge[1], 0) }) : say("ground.draw.none")), line(say("ground.draw.corners"), number(now.length)),
      shape && line(say("ground.draw.area"), now.length + (cursor ? 1 : 0) > 2 ? area(areaHa(cursor ? [...now, cursor] : now)) : say("ground.draw.none")));
    overlay.set({ edges: now.length ? { corners: cursor ? [...now, cursor] : now, closed: false } : null });
  };
  const finish = () => {
    const wanted = drawing.finish();
    if (wanted > 0) ground.ctx.fail(new Error(say("ground.cornersWanted", { n: wanted })));
  };
  const back = () => announce(drawing.undoCorner() ? say("ground.cornerBack", { n: drawing.corners.length }) : say("ground.noCorner"));
  const typed = typing(ground, () => corners);
  const goto = placeField({ id: "draw-goto", label: say("ground.draw.goto"), change: (at) => see(ground, at) });
  const element = ground.page(say(`ground.draw.title.${purpose}${touch ? ".touch" : ""}`), el("p", { class: "lead", text: say(`ground.draw.lead.${shape ? "shape" : purpose}`) }),
    known ? null : el("div", { class: "empty" }, goto.row), readout, el("div", { class: "ground-acts-row" }, close, undo), typed,
    known ? el("details", {}, el("summary", { text: say("ground.draw.gotoShort") }), goto.row) : null,
    el("p", { class: "quiet ground-keys", text: say("ground.draw.keys") }), el("p", {}, button(say("ground.draw.stop"), stop, "plain", { id: "draw-stop" })));
  tell([], null);
  await drawing.start(shape ? "Polygon" : "Line", { change: tell, done: (now) => NEXT[purpose](ground, now, given), stop });
  announce(say("ground.draw.begun"));
  return { element, title: say("place.ground"), focus: known ? plan.box : goto.input };
}

/** A corner by coordinates, or by distance and bearing from the last one. @param {import("./sheet.js").Sheet} ground @param {() => LonLat[]} corners */
function typing(ground, corners) {
  const place = field({ id: "draw-corner", label: say("ground.draw.typePlace"), hint: say("ground.place.hint") });
  const far = field({ id: "draw-far", label: say("ground.draw.typeFar"), unit: say("plan.metres"), inputmode: "decimal" });
  const way = field({ id: "draw-way", label: say("ground.draw.typeWay"), unit: "\u00b0", inputmode: "decimal" });
  const refuse = (/** @type {any} */ input, /** @type {string} */ words) => {
    input.setAttribute("aria-invalid", "true");
    input.focus();
    ground.ctx.fail(new Error(words));
  };
  return el("details", { class: "ground-typing" }, el("summary", { text: say("ground.draw.type") }), el("form", { class: "ground-form", novalidate: true, onsubmit: (/** @type {Event} */ event) => {
    event.preventDefault();
    for (const { input } of [place, far, way]) input.removeAttribute("aria-invalid");
    const last = corners().at(-1);
    const metres = typedNumber(far.input.value);
    const bearing = typedNumber(way.input.value);
    let at = null;
    if (place.input.value.trim()) {
      at = typedPlace(place.input.value);
      if (!at) return refuse(place.input, say("ground.place.wrong"));
    } else {
      if (!last) return refuse(place.input, say("ground.draw.firstPlace"));
      if (metres === null || metres <= 0) return refuse(far.input, say("ground.draw.farWanted"));
      if (bearing === null) return refuse(way.input, say("ground.draw.wayWanted"));
      at = onwards(last, bearing, metres);
    }
    document.querySelector("#sheet .failed")?.remove();
    ground.drawing.keys.setCorner(at);
    ground.drawing.keys.see(at);
    for (const { input } of [place, far, way]) input.value = "";
    return undefined;
  } }, place.row, el("p", { class: "quiet", text: say("ground.draw.or") }), el("div", { class: "ground-two" }, far.row, way.row), el("p", {}, el("button", { class: "button", type: "submit", text: say("ground.draw.setCorner") }))));
}
