// @ts-check
/** A gate, a place to refill the tank, or another point of the grove. */
import { uuid } from "../api.js";
import { el } from "../dom.js";
import { say } from "../words.js";
import { field } from "./fields.js";
import { placeField, see } from "./place.js";

export const KINDS = ["gate", "refill", "other"];

/** @param {import("./sheet.js").Sheet} ground */
export function open(ground) {
  const { api, ctx, overlay, plan } = ground;
  const id = uuid();
  const kind = field({ id: "point-kind", label: say("ground.point.kind"), options: KINDS.map((one) => [one, say(`ground.point.${one}`)]), value: "refill" });
  const name = field({ id: "point-name", label: say("ground.point.name"), maxlength: 100 });
  const shown = (/** @type {[number, number]} */ at) => overlay.set({ cross: at, points: ground.points() });
  const place = placeField({ id: "point-place", label: say("ground.point.place"), change: (at) => { shown(at); see(ground, at, plan.map.getZoom()); } });
  const click = (/** @type {any} */ event) => {
    place.input.value = `${event.latlng.lat.toFixed(6)}, ${event.latlng.lng.toFixed(6)}`;
    place.input.removeAttribute("aria-invalid");
    shown([event.latlng.lng, event.latlng.lat]);
  };
  plan.pointing = false;
  plan.map.on("click", click);
  const form = el("form", { class: "ground-form", novalidate: true, onsubmit: async (/** @type {Event} */ event) => {
    event.preventDefault();
    const at = place.read();
    if (!at) {
      place.input.setAttribute("aria-invalid", "true");
      place.input.focus();
      return ctx.fail(new Error(say("ground.point.lack")));
    }
    try {
      await ground.busy(api.post("points", { type: "Feature", id, geometry: { type: "Point", coordinates: at }, properties: { kind: kind.input.value, name: name.input.value.trim() || null } }));
      await ground.readPoints();
      return ground.kept(say("ground.point.kept", { name: name.input.value.trim() || say(`ground.point.${kind.input.value}`) }));
    } catch (error) {
      return ctx.fail(error);
    }
  } }, el("div", { class: "ground-two" }, kind.row, name.row), place.row, el("p", { class: "buttons" }, el("button", { class: "button main", type: "submit", text: say("ground.point.keep"), id: "point-keep" }), ground.back()));
  return { element: ground.page(say("ground.point.title"), el("p", { class: "lead", text: say("ground.point.lead") }), form), title: say("place.ground"), leave: () => { plan.map.off("click", click); plan.pointing = true; } };
}
