{% autoescape off %}// The service worker of the tank side, version {{ version }}.
//
// It keeps the pages and their files, so that they open with no signal, and sends what waits when the
// browser says that there is signal again (Background Sync). It holds no entries: those are in IndexedDB
// (store.js), which no version of this file deletes.
{% if outbox %}import { sendEverything } from "{{ outbox }}";
{% endif %}
const PREFIX = "tank-side-";
const CACHE = `${PREFIX}{{ version }}`;
// Address: SHA-256 of what stands there. Only the addresses are used here; the hashes make a changed file
// a changed worker, which is how the browser learns of it.
const KEPT = {
{% for address, digest in kept.items %}  "{{ address }}": "{{ digest }}",
{% endfor %}};
const PAGES = [{% for page in pages %}"{{ page }}"{% if not forloop.last %}, {% endif %}{% endfor %}];

self.addEventListener("install", (event) => event.waitUntil(keepAll()));
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));
self.addEventListener("fetch", (event) => {
  const answer = answerTo(event.request);
  if (answer) event.respondWith(answer);
});
{% if outbox %}self.addEventListener("sync", (event) => {
  if (event.tag === "outbox") event.waitUntil(sendEverything());
});
{% endif %}
// All or nothing: when one file is missing the old version stays.
async function keepAll() {
  const cache = await caches.open(CACHE);
  await cache.addAll(Object.keys(KEPT).map((address) => new Request(address, { cache: "reload" })));
  await self.skipWaiting();
}

async function takeOver() {
  for (const name of await caches.keys()) {
    if (name.startsWith(PREFIX) && name !== CACHE) await caches.delete(name);
  }
  await self.clients.claim();
}

// What this worker answers itself; the rest (the interface, other pages) goes to the network as ever.
function answerTo(request) {
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return null;
  if (request.mode === "navigate") return PAGES.includes(url.pathname) ? kept(url.pathname, request) : null;
  if (url.pathname in KEPT) return kept(url.pathname, request);
  return null;
}

async function kept(address, request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(address)) ?? fetch(request);
}
{% endautoescape %}
