// @ts-check
/** The only door to the service. What was read is kept on this device (IndexedDB), so that it can be seen with the network off. */
import { createStore, get as kept, set as keep } from "idb-keyval";
import { Problem } from "./problem.js";
import { state } from "./state.js";
import { say } from "./words.js";

export { Problem };

const store = createStore("gridmap-answers", "answers");
const JSON_TYPE = "application/json";
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
  try {
    answer = await fetch(url, { credentials: "same-origin", ...request });
  } catch (error) {
    if (error instanceof DOMException && error.name === "AbortError") throw error;
    state.set({ offline: true });
    throw new Problem({ title: say("api.offline"), type: "#offline", status: 0 });
  }
  state.set({ offline: false });
  if (answer.ok || answer.status === 304) return answer;
  const told = await answer.json().catch(() => ({}));
  const problem = new Problem({ title: say("api.failed", { status: answer.status }), ...told, status: answer.status });
  if (problem.status === 401) document.dispatchEvent(new CustomEvent("notpaired", { detail: problem }));
  throw problem;
}

/** @param {string} url @param {AbortSignal} [signal] */
async function read(url, signal) {
  const had = await kept(url, store).catch(() => undefined);
  let answer;
  try {
    answer = await ask(url, { headers: had?.etag ? { "If-None-Match": had.etag } : {}, cache: "no-store", signal });
  } catch (error) {
    if (error instanceof Problem && error.offline && had) return had.data;
    throw error;
  }
  if (answer.status === 304) return had.data;
  const data = await answer.json();
  keep(url, { etag: answer.headers.get("ETag"), data, at: Date.now() }, store).catch(() => state.set({ storageFull: true }));
  return data;
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
  async remembered(path, how = {}) {
    const had = await kept(address(ofGrove(path), how.query), store).catch(() => undefined);
    return had ? had.data : null;
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
