// Keeps the last copy of each page, and shows it where the daemon is out of reach; the page itself says how old it is.
"use strict";

const STORE = "dryspell-pages-1";
const PATIENCE = 6000;
const MOST = 60;

const plain = (url) => {
  const address = new URL(url);
  for (const name of ["did", "piece", "coat", "from"]) address.searchParams.delete(name);
  return address.href;
};

const keep = async (url, answer) => {
  const isPage = (answer.headers.get("Content-Type") || "").startsWith("text/html");
  const isOurs = answer.ok && !answer.redirected && answer.type === "basic";
  if (!isOurs || (isPage && answer.headers.get("Cache-Control") === "no-store")) return;
  const store = await caches.open(STORE);
  await store.put(url, answer);
  const keys = await store.keys();
  for (const old of keys) {
    const same = new URL(old.url).pathname === new URL(url).pathname;
    if (same && old.url !== url && new URL(url).searchParams.has("v")) await store.delete(old);
  }
  if (keys.length > MOST) await store.delete(keys[0]);
};

const inTime = (request) => {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE);
  return fetch(request, { signal: stop.signal }).finally(() => clearTimeout(timer));
};

const page = async (request) => {
  const url = plain(request.url);
  try {
    const answer = await inTime(request);
    keep(url, answer.clone());
    return answer;
  } catch {
    const store = await caches.open(STORE);
    const kept = (await store.match(url)) || (await store.match(new URL("./", self.registration.scope).href));
    if (kept) return kept;
    const text = "The daemon is out of reach, and no copy of this page is kept here.";
    return new Response(text, { status: 503, headers: { "Content-Type": "text/plain; charset=utf-8" } });
  }
};

const file = async (request) => {
  const store = await caches.open(STORE);
  const kept = await store.match(request);
  if (kept) return kept;
  const answer = await fetch(request);
  keep(request.url, answer.clone());
  return answer;
};

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name !== STORE) await caches.delete(name);
  await self.clients.claim();
})()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (event.request.mode === "navigate") event.respondWith(page(event.request));
  else if (url.searchParams.has("v")) event.respondWith(file(event.request));
});
self.addEventListener("message", (event) => event.waitUntil((async () => {
  for (const path of event.data.keep || []) {
    try {
      const url = new URL(path, location.origin).href;
      const answer = await inTime(new Request(url, { credentials: "same-origin" }));
      const { body } = answer.clone();
      if (body) await keep(url, answer.clone());
      // Styles and scripts of the page, so that the copy looks as it should.
      for (const [, name] of (await answer.text()).matchAll(/(?:href|src)="([^"]*\/static\/[^"]*)"/g)) await file(new Request(new URL(name, location.origin).href));
    } catch {
      return;
    }
  }
})()));
