// @ts-check
/**
 * Keeps the page itself on this device, so that it opens with the network off. The service writes `self.SHELL` in front
 * of this file: every file of the page, and a version made from their content. So no file is forgotten, and a change of
 * any of them is a new worker, which waits until the grower says "Use it now" or the last window is closed.
 *
 * Nothing of a grove is kept here: what was read of it lies in IndexedDB (js/api.js), which forgets what this device may
 * not see any more.
 */
const worker = /** @type {any} */ (self);
/** @type {{version: string, files: string[]}} */
const SHELL = worker.SHELL;
const PREFIX = "gridmap-shell-";
const NAME = PREFIX + SHELL.version;
const FILES = new Set(SHELL.files);

worker.addEventListener("install", (/** @type {any} */ event) => event.waitUntil(store()));

worker.addEventListener("activate", (/** @type {any} */ event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name.startsWith(PREFIX) && name !== NAME) await caches.delete(name);
  // The window that brought the first worker is kept by it at once: it still has places to load.
  await worker.clients.claim();
})()));

worker.addEventListener("message", (/** @type {any} */ event) => { if (event.data === "use") worker.skipWaiting(); });

worker.addEventListener("fetch", (/** @type {any} */ event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== worker.location.origin) return;
  const path = request.mode === "navigate" && url.pathname === "/" ? "/" : url.pathname;
  if (FILES.has(path)) event.respondWith(answer(path, request));
});

/** Every file, asked anew: what the browser's own cache holds may be older. All of them, or none. */
async function store() {
  const cache = await caches.open(NAME);
  await cache.addAll(SHELL.files.map((file) => new Request(file, { cache: "no-cache" })));
}

/** @param {string} path @param {Request} request */
async function answer(path, request) {
  const cache = await caches.open(NAME);
  return (await cache.match(path, { ignoreVary: true })) ?? fetch(request);
}
