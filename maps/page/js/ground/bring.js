// @ts-check
/** A file brought in: what is in it is guessed and can be said; what the service made of it is told; a mended shape is shown before it is taken. */
import { el, mount } from "../dom.js";
import { area, typedNumber } from "../format.js";
import { Problem } from "../problem.js";
import { uuid } from "../api.js";
import { say } from "../words.js";
import { button, field } from "./fields.js";
import { areaHa, cornersOf, polygonOf } from "./geo.js";
import { KINDS as KEEP_OUT_KINDS } from "./keepout.js";
import { KINDS as POINT_KINDS } from "./point.js";
import { fitShape } from "./trying.js";

/** @typedef {"outlines" | "trees" | "survey" | "keep-outs" | "points" | "dem" | "heights"} Kind */
const FILES = /** @type {Record<Kind, Kind>} */ ({ outlines: "outlines", trees: "trees", survey: "survey", "keep-outs": "keep-outs", points: "points", dem: "dem", heights: "heights" });
const ACCEPT = ".geojson,.json,.gpkg,.kml,.gpx,.zip,.csv,.tif,.tiff";

/** What a file most likely holds, from its name. @param {string} name @returns {Kind} */
export function guess(name) {
  if (/\.tiff?$/i.test(name)) return "dem";
  if (/keep.?out|water|dam|hive|exclu/i.test(name)) return "keep-outs";
  if (/gate|refill|point/i.test(name)) return "points";
  if (/height|elevation/i.test(name)) return "heights";
  return /\.csv$/i.test(name) || /tree/i.test(name) ? "trees" : "outlines";
}

/** @param {import("./sheet.js").Sheet} ground @param {{file?: File | null, kind?: Kind, block?: string}} given */
export function open(ground, { file = null, kind: told, block = "" }) {
  let chosen = /** @type {Kind} */ (told ?? (file ? guess(file.name) : "outlines"));
  const result = el("div", { class: "ground-told", role: "status" });
  const input = el("input", { type: "file", id: "bring-file", accept: ACCEPT });
  if (file) {
    const carried = new DataTransfer();
    carried.items.add(file);
    input.files = carried.files;
  }
  const more = el("div", { class: "ground-form" });
  /** @type {Record<string, any>} */
  let fields = {};
  const kinds = field({ id: "bring-kind", label: say("ground.bring.what"), options: Object.keys(FILES).map((one) => [one, say(`ground.bring.${one}`)]), value: chosen });
  const ask = () => {
    fields = asks(ground, chosen, block);
    mount(more, el("p", { class: "quiet", text: say(`ground.bring.${chosen}.hint`) }), ...Object.entries(fields).filter(([, one]) => !one.rare).map(([, one]) => one.row),
      el("details", {}, el("summary", { text: say("ground.bring.more") }), el("div", { class: "ground-form" }, ...Object.values(fields).filter((one) => one.rare).map((one) => one.row))));
  };
  kinds.input.addEventListener("change", () => { chosen = kinds.input.value; ask(); });
  input.addEventListener("change", () => {
    const name = input.files?.[0]?.name;
    if (!name || told) return;
    chosen = guess(name);
    kinds.input.value = chosen;
    ask();
  });
  const send = async () => {
    const picked = input.files?.[0];
    if (!picked) {
      input.focus();
      return ground.ctx.fail(new Error(say("ground.bring.lack")));
    }
    const form = new FormData();
    form.append("file", picked);
    for (const [name, { input: one, number }] of Object.entries(fields)) {
      const value = one.value.trim();
      if (value) form.append(name, number ? String(typedNumber(value) ?? value) : value);
    }
    mount(result, el("p", { text: say("ground.bring.reading", { name: picked.name }) }));
    try {
      const answer = await ground.busy(ground.api.upload(`imports/${FILES[chosen]}`, form));
      return await done(answer, picked.name);
    } catch (error) {
      mount(result);
      return refused(error, picked.name);
    }
  };
  const done = async (/** @type {any} */ answer, /** @type {string} */ name) => {
    await ground.ctx.reload();
    await ground.readPoints();
    ground.ctx.saved(say("ground.bring.done", { name }));
    ground.plan.fit();
    mount(result, el("h2", { text: say("ground.bring.read", { name }), tabindex: "-1" }), el("ul", { class: "ground-said" }, ...[...(answer.said ?? [])].map((words) => el("li", { text: words }))), el("p", { class: "buttons" }, button(say("ground.bring.toList"), () => ground.home(), "main", { id: "bring-done" })));
    /** @type {any} */ (result.firstChild).focus();
  };
  const refused = (/** @type {any} */ error, /** @type {string} */ name) => {
    const shape = error instanceof Problem && error.mended && chosen === "outlines" ? cornersOf(error.mended) : null;
    if (!shape) return ground.ctx.fail(error);
    const blockName = field({ id: "mended-name", label: say("ground.block.name"), value: nameIn(error.what ?? "") || name.replace(/\.[^.]+$/, ""), maxlength: 100 });
    const look = button(say("ground.mended.look"), () => {
      ground.overlay.set({ mended: shape });
      fitShape(ground, shape, false);
      box.replaceChildren(el("p", { text: say("ground.mended.shown", { ha: area(areaHa(shape)) }) }), blockName.row, el("p", { class: "buttons" }, take, leave));
      take.focus();
    }, "", { id: "mended-look" });
    const take = button(say("ground.mended.take"), async () => {
      try {
        await ground.api.post("blocks", { type: "Feature", id: uuid(), geometry: polygonOf(shape), properties: { block: blockName.input.value.trim() } });
        await ground.kept(say("ground.block.keptOutline", { name: blockName.input.value.trim() }));
      } catch (problem) {
        ground.ctx.fail(problem);
      }
    }, "main", { id: "mended-take" });
    const leave = button(say("ground.mended.leave"), () => { ground.overlay.set({ mended: null }); mount(result); }, "", { id: "mended-leave" });
    const box = el("div", { class: "caution", role: "alert" }, el("p", {}, el("strong", { text: say("ground.bring.notRead") }), ` ${error.detail}`), el("p", { class: "buttons" }, look));
    return mount(result, box);
  };
  ask();
  const form = el("form", { class: "ground-form", novalidate: true, onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); send(); } },
    el("div", { class: "field ground-drop" }, el("label", { for: "bring-file", text: say("ground.bring.file") }), input, el("p", { class: "quiet", text: say("ground.bring.drop") })), kinds.row, more, el("p", { class: "buttons" }, el("button", { class: "button main", type: "submit", text: say("ground.bring.go"), id: "bring-go" }), ground.back()));
  return { element: ground.page(say("ground.bring.title"), form, result), title: say("place.ground"), focus: file ? kinds.input : input };
}

/** The name in "outline of Top crosses itself". @param {string} what */
function nameIn(what) {
  return what.match(/outline of (.+?) (crosses|has|lies|is|touches)/)?.[1] ?? "";
}

/** What is asked beside the file. @param {any} ground @param {Kind} kind @param {string} block @returns {Record<string, {row: HTMLElement, input: any, rare?: boolean, number?: boolean}>} */
function asks(ground, kind, block) {
  const words = (/** @type {string} */ key, /** @type {any} */ more = {}) => field({ id: `bring-${key}`, label: say(`ground.bring.${key}`), ...more });
  const crs = { ...words("crs", { hint: say("ground.bring.crsHint") }), rare: true };
  const layer = { ...words("layer"), rare: true };
  const blocks = /** @type {[string, string][]} */ ([["", say("ground.bring.blockInFile")], ...(ground.state.get("blocks")?.features ?? []).map((/** @type {any} */ one) => [one.properties.block, one.properties.block])]);
  const m = say("plan.metres");
  if (kind === "keep-outs") {
    return { kind: words("kind", { options: [["", say("ground.bring.inFile")], ...KEEP_OUT_KINDS.map((one) => [one, say(`ground.keepOut.${one}`)])] }), setback_m: { ...words("setback", { unit: m, inputmode: "decimal", hint: say("ground.bring.setbackHint") }), number: true }, crs, layer };
  }
  if (kind === "points") return { kind: words("kind", { options: [["", say("ground.bring.inFile")], ...POINT_KINDS.map((one) => [one, say(`ground.point.${one}`)])] }), crs, layer };
  if (kind === "dem") return { vertical_unit: words("unit", { options: ["", "metre", "foot", "us_survey_foot"].map((one) => [one, say(`ground.bring.unit.${one || "file"}`)]) }) };
  if (kind === "survey") {
    return { block: words("block", { options: blocks, value: block }), uphill_bearing_deg: { ...words("uphill", { unit: "\u00b0", inputmode: "decimal", value: ground.state.get("grove")?.uphill_bearing_deg ?? "" }), number: true }, bearing_hint_deg: { ...words("hint", { unit: "\u00b0", inputmode: "decimal" }), number: true, rare: true }, crs, layer };
  }
  if (kind === "trees") return { place_at: { ...words("placeAt", { hint: say("ground.bring.placeAtHint") }), rare: true }, crs, layer };
  return { crs, layer };
}
