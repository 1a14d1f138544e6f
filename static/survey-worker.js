// Keeps the empty form of the survey, and what it needs, for where there is no line. Nothing of
// anybody is kept here: reports that wait are in the page's own store.
"use strict";

const KEPT = "survey-1";
const FORM = "/survey/empty";
const PATIENCE_MS = 4000;

async function keep() {
  const cache = await caches.open(KEPT);
  const answer = await fetch(FORM, { credentials: "omit", cache: "no-store" });
  if (!answer.ok) throw new Error(`the form answered ${answer.status}`);
  const needed = [...(await answer.clone().text()).matchAll(/(?:src|href)="(\/static\/[^"]+)"/g)];
  await cache.addAll(needed.map((found) => found[1]));
  await cache.put(FORM, answer);
}

self.addEventListener("install", (event) => {
  event.waitUntil(keep().then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function page(request) {
  const given = new AbortController();
  const timer = setTimeout(() => given.abort(), PATIENCE_MS);
  try {
    const answer = await fetch(request, { signal: given.signal });
    keep().catch(() => {});
    return answer;
  } catch (error) {
    const kept = await caches.match(FORM);
    if (kept) return kept;
    throw error;
  } finally {
    clearTimeout(timer);
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { pathname } = new URL(request.url);
  if (request.method !== "GET") return;
  if (request.mode === "navigate" && pathname === "/survey") event.respondWith(page(request));
  if (pathname.startsWith("/static/"))
    event.respondWith(caches.match(request).then((kept) => kept ?? fetch(request)));
});
