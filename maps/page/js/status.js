// @ts-check
/** The status line: in words, what is saved, what waits, what failed. Filled dot: all in the grove file; hollow: not. */
import { el, mount } from "./dom.js";
import { dateTime } from "./format.js";
import { say } from "./words.js";

/** @param {HTMLElement} element @param {typeof import("./state.js").state} state */
export function statusLine(element, state) {
  const draw = () => {
    const saving = state.get("saving") ?? { saved: 0, waiting: 0, refused: 0, said: "" };
    const offline = state.get("offline");
    const full = !offline && !saving.waiting && (saving.saved > 0 || (state.get("blocks")?.features ?? []).length > 0);
    const asOf = state.get("asOf");
    const when = asOf ? dateTime(new Date(asOf).toISOString(), state.get("grove")?.time_zone) : "";
    const words = offline ? say(asOf ? "status.offlineAsOf" : "status.offline", { when })
      : state.get("slow") ? say("status.slow")
      : state.get("storageFull") ? say("status.storageFull")
      : saving.waiting ? (saving.pending ? saving.said : say("status.saving", { what: saving.said }))
      : saving.said ? say("status.savedWhat", { what: saving.said })
      : full ? say("status.saved") : say(state.get("shared") ? "status.nothingShared" : "status.nothing");
    mount(element, el("span", { class: full ? "dot full" : "dot", "aria-hidden": "true" }), el("span", { text: words }));
  };
  for (const key of ["saving", "offline", "asOf", "slow", "grove", "blocks", "storageFull", "shared"]) state.on(key, draw);
  draw();
}
