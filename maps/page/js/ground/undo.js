// @ts-check
/** Undo and redo: each names the act that it takes back, or does again. */
import { el, mount } from "../dom.js";
import { dateTime } from "../format.js";
import { say } from "../words.js";
import { button } from "./fields.js";

/** @typedef {{act: string, at: string, who: string, what: string, entries: number, undone: boolean, is_undo: boolean}} Act */

/** The newest act that can be taken back, and the undo that can itself be taken back (when nothing came after it).
 * @param {Act[]} acts Newest first. @returns {{undo: Act | null, redo: Act | null}} */
export function choices(acts) {
  const undo = acts.find((act) => !act.is_undo && !act.undone) ?? null;
  const redo = acts[0]?.is_undo && !acts[0].undone ? acts[0] : null;
  return { undo, redo };
}

/** @param {string} what "undo: draw block Top" */
export function named(what) {
  return what.replace(/^(undo: )+/, "");
}

/** @param {any} ground @returns {{bar: HTMLElement, list: HTMLElement, read: () => Promise<void>}} */
export function undoBar(ground) {
  const bar = el("p", { class: "buttons ground-undo" });
  const list = el("ol", { class: "ground-acts" });
  const take = async (/** @type {Act} */ act, /** @type {string} */ key) => {
    try {
      const answer = await ground.busy(ground.api.post("undo", { act: act.act }));
      await ground.kept(say(key, { what: named(answer.undone) }));
    } catch (error) {
      ground.ctx.fail(error);
    }
  };
  const read = async () => {
    const { acts } = await ground.api.get("history", { query: { most: 20 } });
    const { undo, redo } = choices(acts);
    mount(bar, undo && button(say("ground.undo", { what: undo.what }), () => take(undo, "ground.undone"), "", { id: "ground-undo" }),
      redo && button(say("ground.redo", { what: named(redo.what) }), () => take(redo, "ground.redone"), "", { id: "ground-redo" }));
    const zone = ground.state.get("grove")?.time_zone;
    mount(list, ...acts.map((/** @type {Act} */ act) => el("li", { class: act.undone ? "quiet" : "" }, el("span", { text: act.undone ? say("ground.actUndone", { what: act.what }) : act.what }), el("span", { class: "quiet", text: `${act.who}, ${dateTime(act.at, zone)}` }))));
  };
  return { bar, list, read };
}
