// @ts-check
/** Counts from a file: chosen, sent, what was stored or refused said line by line. */
import { el, mount } from "../dom.js";
import { say } from "../words.js";

/** @param {any} ctx @param {() => void} done */
export function bringCounts(ctx, done) {
  const told = el("div", { class: "told", role: "status" });
  const file = el("input", { type: "file", accept: ".csv,text/csv,text/plain", required: true, id: "counts-file" });
  const day = el("input", { type: "date", id: "counts-day" });
  const form = el("form", { class: "bring", onsubmit: async (/** @type {Event} */ event) => {
    event.preventDefault();
    const body = new FormData();
    body.append("file", file.files[0]);
    if (day.value) body.append("date", day.value);
    try {
      const answer = await ctx.api.upload("imports/counts", body);
      mount(told, ...answer.said.map((/** @type {string} */ words) => el("p", { text: words })));
      ctx.saved(answer.said[0]);
      await ctx.reload("walks", "yearLine", "grove");
      ctx.state.set({ walk: null });
      done();
    } catch (error) {
      ctx.fail(error);
    }
  } },
  el("p", {}, el("label", { for: "counts-file", text: say("pressure.bring") }), file),
  el("p", {}, el("label", { for: "counts-day", text: say("pressure.day") }), day),
  el("button", { class: "button", type: "submit", text: say("pressure.bring") }), told);
  return el("details", { class: "bring-box" }, el("summary", { text: say("pressure.bring") }), form);
}
