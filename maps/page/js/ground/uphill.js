// @ts-check
/** Which way is uphill: an arrow on the map, a typed bearing, or heights from a file. Rows keep their numbers. */
import { el } from "../dom.js";
import { say } from "../words.js";
import { button, stepper } from "./fields.js";
import { boxOf, cornersOf, middle } from "./geo.js";
import { arrowGrip, fitShape } from "./trying.js";

/** @param {import("./sheet.js").Sheet} ground */
export function open(ground) {
  const { state, api, overlay, grips, plan } = ground;
  const grove = state.get("grove");
  const corners = state.get("blocks").features.flatMap((/** @type {any} */ one) => cornersOf(one.geometry));
  let bearing = grove.uphill_bearing_deg ?? middleOf(state.get("blocks").features) ?? null;
  const { lng, lat } = plan.map.getCenter();
  const foot = /** @type {[number, number]} */ (corners.length ? [middle(corners)[0], boxOf(corners)[3]] : [lng, lat]);
  if (corners.length) fitShape(ground, corners);
  const steps = stepper({ id: "uphill-bearing", label: say("ground.uphill.bearing"), value: bearing, unit: "\u00b0", step: 5, least: 0, most: 360, round: true, change: (value) => { bearing = value; show(); } });
  const show = () => overlay.set({ uphill: { foot, bearing: bearing ?? 0, known: bearing !== null } });
  const off = grips.add((_at, px, touch) => arrowGrip(ground, px, touch, (to) => { bearing = to; steps.set(to); show(); }));
  const keep = () => {
    if (bearing === null) return ground.ctx.fail(new Error(say("ground.uphill.lack")));
    return ground.change(grove.version, (version) => api.patch("", { uphill_bearing_deg: bearing }, { ifMatch: version }), () => ground.kept(say("ground.uphill.kept", { deg: bearing })));
  };
  show();
  const form = el("form", { class: "ground-form", novalidate: true, onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); keep(); } }, steps.row, el("p", { class: "quiet", text: say("ground.uphill.words") }),
    el("p", { class: "buttons" }, el("button", { class: "button main", type: "submit", text: say("ground.uphill.keep"), id: "uphill-keep" }), button(say("ground.uphill.heights"), () => ground.show("bring", { kind: "dem" })), ground.back()));
  return { element: ground.page(say("ground.uphill.title"), el("p", { class: "lead", text: say("ground.uphill.lead") }), form), title: say("place.ground"), leave: off };
}

/** @param {any[]} features */
function middleOf(features) {
  const known = features.map((one) => one.properties.uphill_bearing_deg).filter((one) => one !== null && one !== undefined);
  return known.length ? known[0] : null;
}
