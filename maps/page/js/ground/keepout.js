// @ts-check
/** What must never be sprayed: its shape, kind, name, and the setback that the grower types. No distance is assumed. */
import { uuid } from "../api.js";
import { el } from "../dom.js";
import { typedNumber } from "../format.js";
import { say } from "../words.js";
import { button, field } from "./fields.js";
import { cornersOf, polygonOf } from "./geo.js";
import { shapeTools } from "./shapetools.js";
import { fitShape } from "./trying.js";

export const KINDS = ["water", "hive", "dwelling", "neighbour", "bush", "other"];

/** @param {import("./sheet.js").Sheet} ground @param {{corners?: import("./geo.js").LonLat[], keepOut?: any}} given A new shape, or one that is there. */
export async function open(ground, { corners: drawn, keepOut = null }) {
  const { api, ctx, drawing, overlay } = ground;
  const id = keepOut?.id ?? uuid();
  const own = keepOut?.properties ?? {};
  let corners = drawn ?? cornersOf(keepOut.geometry);
  const before = JSON.stringify(corners);
  const kind = field({ id: "keep-out-kind", label: say("ground.keepOut.kind"), options: [["", say("ground.keepOut.choose")], ...KINDS.map((one) => /** @type {[string, string]} */ ([one, say(`ground.keepOut.${one}`)]))], value: own.kind ?? "" });
  const name = field({ id: "keep-out-name", label: say("ground.keepOut.name"), value: own.name ?? "", maxlength: 100 });
  const setback = field({ id: "keep-out-setback", label: say("ground.keepOut.setback"), value: own.setback_m ?? "", unit: say("plan.metres"), inputmode: "decimal", hint: say("ground.keepOut.setbackHint") });
  const show = () => {
    const metres = typedNumber(setback.input.value);
    overlay.set({ edges: { corners, closed: true }, setback: metres !== null && metres >= 0 && metres <= 5000 ? { corners, metres } : null });
  };
  setback.input.addEventListener("input", show);
  if (keepOut) ground.plan.hide(id);
  await drawing.edit(corners, { change: (now) => { corners = now; show(); } }, id);
  fitShape(ground, corners, false);
  const keep = async () => {
    const metres = typedNumber(setback.input.value);
    const lacks = [!kind.input.value && [kind.input, "kind"], metres === null && [setback.input, "setback"]].filter(Boolean);
    for (const { input } of [kind, setback]) input.removeAttribute("aria-invalid");
    if (lacks.length) {
      for (const [input] of /** @type {any[]} */ (lacks)) input.setAttribute("aria-invalid", "true");
      /** @type {any} */ (lacks[0])[0].focus();
      return ctx.fail(new Error(say("ground.keepOut.lacks", { what: lacks.map((/** @type {any} */ one) => say(`ground.keepOut.lack.${one[1]}`)).join(", ") })));
    }
    const properties = { name: name.input.value.trim() || null, kind: kind.input.value, setback_m: metres };
    const words = say("ground.keepOut.kept", { name: properties.name ?? say(`ground.keepOut.${properties.kind}`) });
    const feature = { type: "Feature", properties, ...(keepOut && JSON.stringify(corners) === before ? {} : { geometry: polygonOf(corners) }) };
    if (keepOut) return ground.change(own.version, (version) => api.patch(`keep-outs/${id}`, feature, { ifMatch: version }), () => ground.kept(words));
    try {
      await ground.busy(api.post("keep-outs", { ...feature, id }));
      return ground.kept(words);
    } catch (error) {
      return ctx.fail(error);
    }
  };
  const host = el("div", { class: "ground-asked" });
  const remove = keepOut && button(say("ground.keepOut.remove"), () => host.replaceChildren(el("div", { class: "caution" }, el("p", { text: say("ground.keepOut.removeAsk", { name: own.name || say(`ground.keepOut.${own.kind}`) }) }),
    el("p", { class: "buttons" }, button(say("ground.keepOut.removeYes"), () => ground.change(own.version, (version) => api.del(`keep-outs/${id}`, { ifMatch: version }), (/** @type {any} */ answer) => ground.kept(answer.said[0])), "", { id: "keep-out-remove-yes" }), button(say("ground.not"), () => host.replaceChildren())))), "", { id: "keep-out-remove" });
  const form = el("form", { class: "ground-form", novalidate: true, onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); keep(); } }, el("div", { class: "ground-two" }, kind.row, name.row), setback.row, shapeTools(ground),
    el("p", { class: "buttons" }, el("button", { class: "button main", type: "submit", text: say("ground.keepOut.keep"), id: "keep-out-keep" }), ground.back()), remove, host);
  show();
  return { element: ground.page(say(keepOut ? "ground.keepOut.title" : "ground.keepOut.newTitle"), el("p", { class: "quiet", text: say("ground.keepOut.lead") }), form), title: say("place.ground"), focus: kind.input };
}
