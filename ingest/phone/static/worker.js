// Keeps the last form that was fetched, so that it opens without the studio's network too. Entries are kept by the form itself.
const NAME = "bench-hours-form";
const WAIT_MS = 3000;
self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(NAME).then((kept) => kept.addAll(["/log", "/log/icon.svg", "/log/manifest.json"])).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const path = new URL(event.request.url).pathname;
  if (event.request.method !== "GET" || path.startsWith("/log/v")) return;
  event.respondWith(fetched(event.request, path));
});
async function fetched(request, path) {
  const kept = await caches.open(NAME);
  const patience = new AbortController();
  const held = await kept.match(path);
  const timer = held && setTimeout(() => patience.abort(), WAIT_MS);
  try {
    const answer = await fetch(request, { signal: patience.signal });
    if (answer.ok) await kept.put(path, answer.clone());
    else if (answer.status >= 500 && held) return held;
    return answer;
  } catch (error) {
    if (held) return held;
    throw error;
  } finally {
    clearTimeout(timer);
  }
}
