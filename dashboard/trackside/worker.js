/* Keeps the page on the phone: its own few files, fetched anew whenever that works, and nothing else of the program. */
const PATIENCE = 3000;

const keep = async (address) => {
  // A file's address changes with its contents, so what the browser has of it already will do.
  const cache = address.startsWith("/log/files/") ? "default" : "no-cache";
  const answer = await fetch(address, { cache, credentials: "same-origin" });
  // A page that only asks to sign in is not worth keeping.
  if (answer.ok && !answer.redirected) await (await caches.open(NAME)).put(address, answer);
};

self.addEventListener("install", (event) => {
  event.waitUntil(Promise.all(KEPT.map(keep)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const tidy = async () => {
    for (const name of await caches.keys()) if (name.startsWith("log-") && name !== NAME) await caches.delete(name);
    await self.clients.claim();
  };
  event.waitUntil(tidy());
});

const fresh = async (event, key) => {
  const answer = await fetch(event.request);
  if (key === "/log" && new URL(event.request.url).search) event.waitUntil(keep("/log").catch(() => {}));
  else if (answer.ok && !answer.redirected) {
    const copy = answer.clone();
    event.waitUntil(caches.open(NAME).then((kept) => kept.put(key, copy)));
  }
  return answer;
};

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin || !KEPT.includes(address.pathname)) return;
  const key = address.pathname;
  const answer = async () => {
    const kept = await (await caches.open(NAME)).match(key);
    // The contents of a file never change under its address.
    if (kept && key.startsWith("/log/files/")) return kept;
    const asked = fresh(event, key);
    if (!kept) return asked;
    const late = new Promise((resolve) => setTimeout(resolve, PATIENCE, kept));
    // A program that is there but cannot answer is as good as away.
    return Promise.race([asked.then((answer) => (answer.status >= 500 ? kept : answer)).catch(() => kept), late]);
  };
  event.respondWith(answer());
});
