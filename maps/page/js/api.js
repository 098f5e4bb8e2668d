// @ts-check
/** The only door to the service. What was read is kept on this device (IndexedDB), so that it can be seen with the network off. */
import { createStore, delMany, get as kept, keys, set as keep } from "idb-keyval";
import { Problem } from "./problem.js";
import { state } from "./state.js";
import { say } from "./words.js";

export { Problem };

const store = createStore("gridmap-answers", "answers");
const times = createStore("gridmap-times", "times");
/** What this window has read already: the same object for the same answer, so that nothing is drawn twice. @type {Map<string, {etag: string | null, data: any}>} */
const memory = new Map();
const JSON_TYPE = "application/json";
/** After so long without an answer it is said that there is none yet. */
const SLOW_MS = 8_000;
/** @typedef {{query?: Record<string, any>, ifMatch?: string | number | null, signal?: AbortSignal}} How */

/** @param {string} path @param {Record<string, any>} [query] */
function address(path, query = {}) {
  const search = new URLSearchParams();
  for (const [key, value] of Object.entries(query)) if (value !== null && value !== undefined && value !== "") search.set(key, String(value));
  const asked = search.toString();
  return asked ? `${path}?${asked}` : path;
}

/** @param {string} path Relative to the grove, which has to be known. */
function ofGrove(path) {
  const grove = state.get("grove")?.grove;
  if (!grove) throw new Problem({ title: say("api.noGrove"), type: "#no-grove", status: 404 });
  return `/api/groves/${grove}${path ? `/${path}` : ""}`;
}

/** @param {string} url @param {RequestInit} request */
async function ask(url, request) {
  let answer;
  const slow = setTimeout(() => state.set({ slow: true }), SLOW_MS);
  try {
    answer = await fetch(url, { credentials: "same-origin", ...request });
  } catch (error) {
    if (error instanceof DOMException && error.name === "AbortError") throw error;
    state.set({ offline: true });
    throw new Problem({ title: say("api.offline"), type: "#offline", status: 0 });
  } finally {
    clearTimeout(slow);
    state.set({ slow: false });
  }
  state.set({ offline: false, asOf: null });
  if (answer.ok || answer.status === 304) return answer;
  const told = await answer.json().catch(() => ({}));
  const problem = new Problem({ title: say("api.failed", { status: answer.status }), ...told, status: answer.status });
  if (problem.status === 401) {
    // Whoever holds no token keeps nothing either.
    await forget(() => true);
    document.dispatchEvent(new CustomEvent("notpaired", { detail: problem }));
  }
  throw problem;
}

/** @param {string} url @returns {Promise<{etag: string | null, data: any} | undefined>} */
async function had(url) {
  const known = memory.get(url) ?? await kept(url, store).catch(() => undefined);
  if (known) memory.set(url, known);
  return known;
}

/** @param {string} url @param {AbortSignal} [signal] */
async function read(url, signal) {
  const known = await had(url);
  let answer;
  try {
    answer = await ask(url, { headers: known?.etag ? { "If-None-Match": known.etag } : {}, cache: "no-store", signal });
  } catch (error) {
    if (!(error instanceof Problem && error.offline && known)) throw error;
    // What is shown is as old as its oldest part.
    const at = await kept(url, times).catch(() => undefined);
    if (at) state.set({ asOf: Math.min(state.get("asOf") ?? at, at) });
    return known.data;
  }
  const data = answer.status === 304 && known ? known.data : await answer.json();
  if (data !== known?.data) {
    const one = { etag: answer.headers.get("ETag"), data };
    memory.set(url, one);
    keep(url, one, store).catch(() => state.set({ storageFull: true }));
  }
  keep(url, Date.now(), times).catch(() => undefined);
  return data;
}

/** @param {string} url */
async function remembered(url) {
  const known = await had(url);
  return known ? known.data : null;
}

/** Forget what was kept of the addresses that a test picks. @param {(url: string) => boolean} which */
async function forget(which) {
  const all = /** @type {string[]} */ (await keys(store).catch(() => []));
  const gone = all.filter(which);
  for (const url of gone) memory.delete(url);
  await Promise.all([store, times].map((one) => delMany(gone, one).catch(() => undefined)));
}

/** @param {string} method @param {string} url @param {any} body @param {How} how */
async function write(method, url, body, { ifMatch, signal } = {}) {
  /** @type {Record<string, string>} */
  const headers = body === undefined ? {} : { "Content-Type": JSON_TYPE };
  if (ifMatch !== undefined && ifMatch !== null) headers["If-Match"] = `"${String(ifMatch).replaceAll('"', "")}"`;
  const answer = await ask(url, { method, headers, body: body === undefined ? undefined : JSON.stringify(body), signal });
  return answer.status === 204 ? null : answer.json();
}

export const api = {
  /** Read something of the grove; from this device when the network is off. @param {string} path @param {How} [how] @returns {Promise<any>} */
  get: async (path, how = {}) => read(address(ofGrove(path), how.query), how.signal),

  /** What was read before, at once and without asking, or null. @param {string} path @param {How} [how] @returns {Promise<any>} */
  remembered: async (path, how = {}) => remembered(address(ofGrove(path), how.query)),

  /** The same for anything below /api itself. @param {string} path @returns {Promise<any>} */
  rememberedRoot: async (path) => remembered(`/api/${path}`),

  /** Forget every grove but these: what this device may not see any more stays on it no longer. @param {string[]} groves */
  async forgetOthers(groves) {
    const own = groves.map((grove) => `/api/groves/${grove}`);
    const ours = (/** @type {string} */ url) => own.some((one) => url === one || url.startsWith(`${one}/`) || url.startsWith(`${one}?`));
    await forget((url) => url.startsWith("/api/groves/") && !ours(url));
  },

  /** @param {string} path @param {any} [body] @param {How} [how] @returns {Promise<any>} */
  post: async (path, body, how = {}) => write("POST", address(ofGrove(path), how.query), body, how),
  /** @param {string} path @param {any} body @param {How} [how] @returns {Promise<any>} */
  patch: async (path, body, how = {}) => write("PATCH", address(ofGrove(path), how.query), body, how),
  /** @param {string} path @param {How} [how] @returns {Promise<any>} */
  del: async (path, how = {}) => write("DELETE", address(ofGrove(path), how.query), undefined, how),

  /** Send a file. @param {string} path @param {FormData} form @param {How} [how] @returns {Promise<any>} */
  async upload(path, form, how = {}) {
    const answer = await ask(ofGrove(path), { method: "POST", body: form, signal: how.signal });
    return answer.json();
  },

  /** Fetch a file and hand it to the browser's downloads. @param {string} path @param {string} name @param {How} [how] */
  async download(path, name, how = {}) {
    const answer = await ask(address(ofGrove(path), how.query), { signal: how.signal });
    const link = document.createElement("a");
    link.href = URL.createObjectURL(await answer.blob());
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  },

  /** Anything below /api itself. @param {string} path @param {{method?: string, body?: any} & How} [how] @returns {Promise<any>} */
  async root(path, { method = "GET", body, ...how } = {}) {
    const url = address(`/api/${path}`, how.query);
    return method === "GET" ? read(url, how.signal) : write(method, url, body, how);
  },
};

/** A uuid; also where the page is not served over https, which has no randomUUID. @returns {string} */
export function uuid() {
  if (typeof crypto.randomUUID === "function") return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  // RFC 9562 section 5.4: version 4 in the high half of octet 6, variant 10 in octet 8.
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
