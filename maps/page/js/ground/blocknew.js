// @ts-check
/** A block that has just been drawn: its corners can still be dragged, its rows are tried out, then it is kept. */
import { uuid } from "../api.js";
import { el } from "../dom.js";
import { number } from "../format.js";
import { say } from "../words.js";
import { button, field } from "./fields.js";
import { polygonOf } from "./geo.js";
import { shapeTools } from "./shapetools.js";
import { Trying, factsFor, fitShape } from "./trying.js";

/** @param {import("./sheet.js").Sheet} ground @param {{corners: import("./geo.js").LonLat[], name?: string, facts?: any, line?: any}} given */
export async function open(ground, given) {
  const { api, ctx, drawing } = ground;
  const id = uuid();
  let corners = given.corners;
  const name = field({ id: "block-name", label: say("ground.block.name"), value: given.name ?? "", maxlength: 100, required: true });
  const trying = new Trying(ground, corners, given.facts ?? factsFor(ground, corners), given.line ?? null);
  await drawing.edit(corners, { change: (now) => { corners = now; trying.reshape(now); } });
  fitShape(ground, corners);

  const keep = async (/** @type {boolean} */ rows) => {
    const lacks = [!name.input.value.trim() && say("ground.block.lack.name"), ...(rows ? trying.lacks() : [])].filter(Boolean);
    name.input.toggleAttribute("aria-invalid", !name.input.value.trim());
    if (lacks.length) {
      (name.input.value.trim() ? document.getElementById("rows-uphill") : name.input)?.focus();
      ctx.fail(new Error(say("ground.block.lacks", { what: lacks.join(", ") })));
      return;
    }
    const properties = { block: name.input.value.trim(), ...Object.fromEntries(Object.entries(trying.facts).filter(([key, value]) => value !== null && !(trying.line && key === "row_bearing_deg"))) };
    try {
      const stored = await ground.busy(api.post("blocks", { type: "Feature", id, geometry: polygonOf(corners), properties }));
      const laid = rows ? await ground.busy(lay(ground, stored.features[0], trying)) : null;
      await ground.kept(laid ? say("ground.block.kept", { name: properties.block, n: laid.trees, rows: number(laid.rows) }) : say("ground.block.keptOutline", { name: properties.block }), async () => {
        ground.plan.fit();
        await ground.home();
      });
    } catch (error) {
      ctx.fail(error);
    }
  };
  const follow = trying.line ? button(say("ground.rows.straight"), () => again({ line: null })) : button(say("ground.rows.follow"), () => again({ line: undefined }), "", { id: "rows-follow" });
  /** @param {{line: any}} how */
  const again = ({ line }) => {
    const now = { corners, name: name.input.value, facts: trying.facts };
    return line === null ? ground.show("blocknew", { ...now, line: null }) : ground.show("draw", { purpose: "line", back: { view: "blocknew", given: now } });
  };
  const form = el("form", { class: "ground-form", novalidate: true, onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); keep(true); } }, name.row, trying.element,
    el("div", { class: "ground-acts-row" }, el("button", { class: "button main", type: "submit", text: say("ground.block.keep"), id: "block-keep" }), button(say("ground.block.outlineOnly"), () => keep(false), "", { id: "block-outline" })),
    el("p", { class: "quiet", text: say(trying.line ? "ground.rows.alongLine" : "ground.rows.drag") }), shapeTools(ground),
    el("p", { class: "buttons" }, follow, button(say("ground.block.throwAway"), () => ground.home(), "plain")));
  return { element: ground.page(say("ground.block.newTitle"), form), title: say("place.ground"), focus: name.input, leave: () => trying.stop() };
}

/** Store the rows that were tried out. @param {any} ground @param {any} block Feature. @param {Trying} trying */
export function lay(ground, block, trying) {
  const { row_bearing_deg, ...facts } = trying.facts;
  const how = { ifMatch: block.properties.version };
  return trying.line ? ground.api.post(`blocks/${block.id}/follow-line`, { ...facts, line: { type: "LineString", coordinates: trying.line } }, how) : ground.api.post(`blocks/${block.id}/rows`, { row_bearing_deg, ...facts }, how);
}
