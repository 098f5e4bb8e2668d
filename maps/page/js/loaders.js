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

/** What the map of a walk is made of. */
export const MAP = ["pressure", "summary"];

/** @param {State} state @param {string[]} keys @param {(path: string, how: any) => Promise<any>} get */
async function read(state, keys, get) {
  return Promise.all(keys.map(async (key) => {
    const { path, query, take } = QUESTIONS[key];
    const answer = await get(path, { query: query?.(state) });
    return [key, take && answer !== null ? take(answer) : answer];
  }));
}

/** Show what this device remembers, if it remembers all of it. @param {State} state @param {typeof import("./api.js").api} api @param {string[]} keys @returns {Promise<boolean>} */
export async function remember(state, api, keys) {
  const had = await read(state, keys, api.remembered);
  const all = had.every(([, answer]) => answer !== null);
  if (all) state.set(Object.fromEntries(had));
  return all;
}

/** Read some keys anew; all of them change together. @param {State} state @param {typeof import("./api.js").api} api @param {string[]} keys */
export async function reload(state, api, keys) {
  state.set(Object.fromEntries(await read(state, keys, api.get)));
}
