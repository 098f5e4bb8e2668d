// @ts-check
/** The first screen of an empty grove: one sentence, three ways to begin, and the invented grove for who only looks. */
import { el, style } from "../dom.js";
import { say } from "../words.js";
import { example } from "./example.js";
import { button } from "./fields.js";
import { start } from "./place.js";

/** @param {import("./sheet.js").Sheet} ground */
export function open(ground) {
  const { state, ctx, plan } = ground;
  const grove = state.get("grove");
  const may = grove ? ground.mayEdit : state.get("mayCreate") !== false;
  const phone = matchMedia("(max-width: 759.98px)").matches && matchMedia("(pointer: coarse)").matches;
  /** @param {string} view @param {any} [given] */
  const go = (view, given = {}) => (state.get("grove") ? ground.show(view, given) : ground.show("newgrove", { then: [view, given] }));
  const draw = () => go("draw", { purpose: "block" });
  const walk = () => go("walk");
  const file = el("input", { type: "file", class: "unseen", id: "first-file", tabindex: "-1", "aria-hidden": "true", accept: ".geojson,.json,.gpkg,.kml,.gpx,.zip,.csv,.tif,.tiff", onchange: () => file.files[0] && ground.bring(file.files[0]) });
  const bring = () => file.click();
  const demo = async () => {
    try {
      ctx.saving(say("ground.first.making"));
      await ctx.opened(await ground.api.root("demo", { method: "POST" }));
      state.set({ saving: null });
      ctx.go("pressure");
    } catch (error) {
      ctx.fail(error);
    }
  };
  const main = phone ? button(say("ground.first.startCorner"), walk, "main wide", { id: "first-walk" }) : button(say("ground.first.draw"), draw, "main wide", { id: "first-draw" });
  const second = phone ? button(say("ground.first.drawShort"), draw, "", { id: "first-draw" }) : button(say("ground.first.walk"), walk, "", { id: "first-walk" });
  const ways = [el("p", {}, main), phone && el("p", { class: "quiet", text: say("ground.first.position") }), el("div", { class: "pair" }, second, button(say("ground.first.bring"), bring, "", { id: "first-bring" })),
    el("p", { class: "quiet", text: say("ground.first.files") }), file];
  const element = el("div", { class: "ground-view ground-first" }, el("h1", { class: "first", text: say(phone ? "ground.first.walkTitle" : "ground.first.title"), tabindex: "-1" }), el("p", { class: "lead", text: say(phone ? "ground.first.walkLead" : "ground.first.lead") }),
    ...(may ? ways : [el("p", { class: "empty", text: say("ground.first.askOwner") })]),
    state.get("mayCreate") !== false && !grove && el("div", { class: "ground-only-looking" }, el("p", {}, el("strong", { text: say("ground.first.looking") }), ` ${say("ground.first.demoLead")}`), button(say("ground.first.demo"), demo, "", { id: "first-demo" })));
  if (grove) start(ground);
  const picture = example();
  plan.element.append(picture);
  style(picture, {});
  return { element, title: say("place.ground"), leave: () => picture.remove() };
}
