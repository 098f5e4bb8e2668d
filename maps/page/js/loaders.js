// @ts-check
/** Which question of the service fills which key of the state. */

/** @typedef {typeof import("./state.js").state} State */
/** @type {Record<string, {path: string, query?: (state: State) => Record<string, any>, take?: (answer: any) => any}>} */
export const QUESTIONS = {
  grove: { path: "" },
  blocks: { path: "blocks" },
  keepOuts: { path: "keep-outs", query: () => ({ setbacks: true }) },
  rows: { path: "rows" },
  trees: { path: "trees" },
  walks: { path: "walks", take: (answer) => answer.walks },
  pressure: { path: "pressure", query: (state) => ({ walk: state.get("walk") }) },
  summary: { path: "pressure/summary", query: (state) => ({ walk: state.get("walk") }) },
  yearLine: { path: "year-line" },
  facts: { path: "facts" },
  zones: { path: "zones", take: (answer) => answer.zones },
};

/** What is read when the page opens and after the ground has changed. */
export const GROUND = ["grove", "blocks", "keepOuts", "rows", "trees", "walks", "yearLine"];

/** Read some keys anew; all of them change together. @param {State} state @param {typeof import("./api.js").api} api @param {string[]} keys */
export async function reload(state, api, keys) {
  const answers = await Promise.all(keys.map(async (key) => {
    const { path, query, take } = QUESTIONS[key];
    const answer = await api.get(path, { query: query?.(state) });
    return [key, take ? take(answer) : answer];
  }));
  state.set(Object.fromEntries(answers));
}
