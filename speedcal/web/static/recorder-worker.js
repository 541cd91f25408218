// Keeps the recorder page and what it needs in the browser, so that it opens without a network.
"use strict";

const CACHE = "speedcal-recorder";

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(["/static/style.css", "/static/dark.css", "/static/recorder.js", "/static/icon.svg"]))
    .then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    await self.clients.claim();
    const cache = await caches.open(CACHE);
    for (const client of await self.clients.matchAll()) await cache.add(client.url);
  })());
});
self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET") return;
  event.respondWith((async () => {
    if (event.request.headers.get("x-kept")) {  // the page asks what it would get without a network
      return await caches.match(event.request, { ignoreSearch: true }) ?? Response.error();
    }
    try {
      const answer = await fetch(event.request);
      if (answer.ok) (await caches.open(CACHE)).put(event.request, answer.clone());
      return answer;
    } catch (error) {
      const kept = await caches.match(event.request, { ignoreSearch: true });
      if (kept) return kept;
      throw error;
    }
  })());
});
