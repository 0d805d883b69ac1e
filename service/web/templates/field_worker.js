// Keeps the phone page and its files for without a network: those of one version, never a mix of two.
// What is entered never passes here; it is sent by the page itself.
"use strict";

const VERSION = {{ version|tojson }};
const FILES = {{ files|tojson }};
const NAME = `boleward-field-${VERSION}`;

self.addEventListener("install", (event) => {
  const fresh = FILES.map((file) => new Request(file, { cache: "reload" }));
  event.waitUntil(caches.open(NAME).then((kept) => kept.addAll(fresh)));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const old = (await caches.keys()).filter((name) => name.startsWith("boleward-field-") && name !== NAME);
    // One that is still coming in keeps its files there as well; it tidies up when its turn comes.
    const isLast = !self.registration.installing && !self.registration.waiting;
    if (isLast) await Promise.all(old.map((name) => caches.delete(name)));
    await self.clients.claim();
  })());
});

self.addEventListener("message", (event) => { if (event.data === "now") self.skipWaiting(); });

self.addEventListener("fetch", (event) => {
  const asked = new URL(event.request.url);
  if (event.request.method !== "GET" || asked.origin !== location.origin || asked.search) return;
  if (!FILES.includes(asked.pathname)) return;
  event.respondWith((async () => {
    const kept = await caches.open(NAME);
    return (await kept.match(asked.pathname)) ?? fetch(event.request).catch(async (error) => {
      const other = await caches.match(asked.pathname);
      if (other) return other;
      throw error;
    });
  })());
});
