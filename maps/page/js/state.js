// @ts-check
/**
 * What the page knows, in one place. Parts read it, change it by `set`, and are told by `on`.
 *
 * @typedef {{block?: string, row?: number, tree?: string, run?: number, day?: string, fixed: boolean}} Selection
 * @typedef {{saved: number, waiting: number, refused: number, said?: string}} Saving
 */

/** @type {Map<string, any>} */
const values = new Map();
/** @type {Map<string, Set<(value: any, old: any) => void>>} */
const listeners = new Map();

/** The grove, its layers and what is being looked at; see docs/page.md for the keys. */
export const state = {
  /** @param {string} key @returns {any} What is known under this key, null when nothing is. */
  get(key) {
    return values.has(key) ? values.get(key) : null;
  },

  /**
   * Change one or several keys at once; who listens is told after all of them have changed.
   * @param {Record<string, any>} patch
   */
  set(patch) {
    /** @type {[string, any, any][]} */
    const changed = [];
    for (const [key, value] of Object.entries(patch)) {
      const old = state.get(key);
      if (same(value, old)) continue;
      values.set(key, value);
      changed.push([key, value, old]);
    }
    for (const [key, value, old] of changed) {
      for (const listener of [...(listeners.get(key) ?? [])]) listener(value, old);
    }
  },

  /**
   * Be told whenever a key changes.
   * @param {string} key
   * @param {(value: any, old: any) => void} listener
   * @returns {() => void} Call it to hear no more.
   */
  on(key, listener) {
    const those = listeners.get(key) ?? new Set();
    listeners.set(key, those.add(listener));
    return () => void those.delete(listener);
  },

  /** Point at something: it is shown thin until the pointer leaves. @param {Omit<Selection, "fixed"> | null} what */
  preview(what) {
    state.set({ preview: what ? { ...what, fixed: false } : null });
  },

  /** Choose something: every view frames it until Escape. @param {Omit<Selection, "fixed"> | null} what */
  choose(what) {
    state.set({ selection: what ? { ...what, fixed: true } : null, preview: null });
  },

  /** What every view should frame: what is pointed at, else what is chosen. @returns {Selection | null} */
  shown() {
    return state.get("preview") ?? state.get("selection");
  },
};

/** @param {any} one @param {any} other */
function same(one, other) {
  if (Object.is(one, other)) return true;
  const small = (/** @type {any} */ value) => value && typeof value === "object" && !Array.isArray(value) && "fixed" in value;
  return small(one) && small(other) && JSON.stringify(one) === JSON.stringify(other);
}
