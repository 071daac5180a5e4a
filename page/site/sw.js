"use strict";
// Stores the page's own files, so that it works without a network. `cargo xtask page` writes their list, and a version computed from
// their contents, so that a new version gets a new cache.
const FILES = [/*FILES*/];
const CACHE = "sumproof-/*VERSION*/";

addEventListener("install", event => {
  event.waitUntil(caches.open(CACHE)
    .then(cache => cache.addAll(FILES.map(file => new Request(file, { cache: "reload" }))))
    .then(() => self.skipWaiting()));
});

addEventListener("activate", event => {
  event.waitUntil(caches.keys()
    .then(names => Promise.all(names.filter(name => name.startsWith("sumproof-") && name !== CACHE).map(name => caches.delete(name))))
    .then(() => self.clients.claim()));
});

addEventListener("fetch", event => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  event.respondWith(caches.open(CACHE)
    .then(cache => cache.match(event.request, { ignoreSearch: true }))
    .then(kept => kept ?? fetch(event.request)));
});
