// @ts-check
/** Trees added to the zone or dropped from it on the map: gathered, shown, undone one by one, then kept in one go. */
import { announce, el, mount } from "../dom.js";
import { say } from "../words.js";

export class Changes {
  /** @param {any} ctx @param {(change: {add: string[], drop: string[]}, focus: string) => Promise<void>} keep @param {() => Promise<void>} takeBack Undo what was kept last. */
  constructor(ctx, keep, takeBack) {
    this.ctx = ctx;
    this.keep = keep;
    this.takeBack = takeBack;
    /** What a click on the map does. @type {"add" | "drop" | null} */
    this.mode = null;
    /** In the order they were made. @type {{tree: string, kind: "add" | "drop"}[]} */
    this.those = [];
    /** What was kept last, in words; null when there is nothing to undo. @type {string | null} */
    this.last = null;
    this.tools = el("div", { class: "plan-tools" });
  }

  show() {
    const { plan, state } = this.ctx;
    if (!state.get("zone")) return this.hide();
    plan.element.append(this.tools);
    this.draw();
    plan.room();
    return undefined;
  }

  hide() {
    this.tools.remove();
    this.mode = null;
    this.those = [];
    if (this.ctx.state.get("saving")?.pending) this.ctx.state.set({ saving: null });
    this.ctx.plan.room();
  }

  draw() {
    const focused = /** @type {HTMLElement | null} */ (document.activeElement)?.dataset?.tool;
    const way = (/** @type {"add" | "drop"} */ kind, /** @type {string} */ words) => el("button", { class: "button", type: "button", data: { tool: kind }, "aria-pressed": String(this.mode === kind), text: words, onclick: () => {
      this.mode = this.mode === kind ? null : kind;
      announce(this.mode ? say(`treat.mode.${kind}`) : say("treat.mode.none"));
      this.draw();
    } });
    const n = this.those.length;
    mount(this.tools, way("add", say("treat.addTrees")), way("drop", say("treat.dropTrees")),
      n > 0 && el("button", { class: "button main", type: "button", data: { tool: "keep" }, text: say("treat.keepChanges", { n }), onclick: () => this.commit() }),
      (n > 0 || this.last) && el("button", { class: "button", type: "button", data: { tool: "undo" }, text: n ? say("treat.undoTree") : say("treat.undoWhat", { what: this.last }), onclick: () => this.undo() }));
    if (focused) /** @type {HTMLElement | null} */ (this.tools.querySelector(`[data-tool="${focused}"]`) ?? this.tools.querySelector("button"))?.focus();
    const of = (/** @type {string} */ kind) => this.those.filter((one) => one.kind === kind).map((one) => one.tree);
    const zone = this.ctx.state.get("zone");
    this.ctx.plan.setRuns(zone?.runs ?? null, { added: of("add"), dropped: of("drop") });
    this.ctx.state.set({ saving: n ? { saved: 0, waiting: n, refused: 0, pending: true, said: say("treat.waiting", { n }) } : null });
  }

  /** Space: in or out. @param {string} tree */
  toggle(tree) {
    const zone = this.ctx.state.get("zone");
    if (!zone) return;
    this.change(tree, zone.trees.columns.tree.includes(tree) ? "drop" : "add");
  }

  /** A click, where the map is set to add or to drop. @param {string} tree */
  click(tree) {
    const zone = this.ctx.state.get("zone");
    if (!zone || !this.mode) return;
    const inside = zone.trees.columns.tree.includes(tree);
    const pending = this.those.some((one) => one.tree === tree);
    if (pending || inside === (this.mode === "drop")) this.change(tree, this.mode);
    else announce(say(inside ? "treat.already" : "treat.notIn"));
  }

  /** @param {string} tree @param {"add" | "drop"} kind */
  change(tree, kind) {
    const had = this.those.findIndex((one) => one.tree === tree);
    if (had >= 0) this.those.splice(had, 1);
    else this.those.push({ tree, kind });
    announce(say(had >= 0 ? "treat.takenBack" : kind === "add" ? "treat.added" : "treat.dropped"));
    this.draw();
  }

  async undo() {
    if (this.those.length) {
      this.those.pop();
      announce(say("treat.takenBack"));
      this.draw();
    } else if (this.last) await this.takeBack();
  }

  async commit() {
    const of = (/** @type {string} */ kind) => this.those.filter((one) => one.kind === kind).map((one) => one.tree);
    await this.keep({ add: of("add"), drop: of("drop") }, "runs");
  }
}
