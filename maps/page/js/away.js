// @ts-check
/** With the network off: asking again whether the service is back, and reading ahead what should be seen then. */
import { MAP, QUESTIONS } from "./loaders.js";

const AGAIN_MS = 10_000;

/**
 * Ask again on a timer while nothing answers: a browser says it is online as long as there is any network.
 * @param {typeof import("./state.js").state} state @param {() => Promise<any>} ask @param {() => void} back Called when the service answers again.
 */
export function askAgain(state, ask, back) {
  /** @type {ReturnType<typeof setInterval> | null} */
  let timer = null;
  const quietly = () => ask().catch(() => undefined);
  state.on("offline", (offline, was) => {
    if (offline && timer === null) timer = setInterval(quietly, AGAIN_MS);
    if (offline) return;
    if (timer !== null) clearInterval(timer);
    timer = null;
    if (was) back();
  });
  addEventListener("online", quietly);
  addEventListener("offline", quietly);
}

/**
 * Read what the page shows with the network off though it was not looked at yet: the maps of earlier walks, what Treat needs.
 * Only where a service worker keeps the page, and only when nothing else is to be done.
 * @param {typeof import("./state.js").state} state @param {typeof import("./api.js").api} api
 */
export async function readAhead(state, api) {
  if (!("serviceWorker" in navigator) || !isSecureContext) return;
  await navigator.serviceWorker.ready;
  const walks = state.get("walks") ?? [];
  if (!state.get("grove")) return;
  const earlier = walks.slice(0, -1).map((/** @type {any} */ walk) => walk.walk).reverse();
  /** @type {[string, Record<string, any>][]} */
  const asked = [];
  if (walks.length) for (const key of MAP) asked.push([QUESTIONS[key].path, {}]);
  asked.push(["facts", {}], ["zones", {}]);
  for (const walk of earlier) for (const key of MAP) asked.push([QUESTIONS[key].path, { walk }]);
  for (const [path, query] of asked) {
    await new Promise((free) => (window.requestIdleCallback ?? setTimeout)(() => free(null)));
    if (state.get("offline")) return;
    await api.get(path, { query }).catch(() => undefined);
  }
}
