// The service worker of /field/: the page and what it is made of come from this device, so that they open
// without a network. RELEASE and FILES are set by /field/sw.js. Nothing with a person's data is ever kept here:
// packs and works are sealed in the database of the page (store.js).

const SHELL = "/field/";
const OURS = "spanbook-field-";

// A newer release waits until a page being opened asks for it (shell.js), or no page is left: a page is made of one
// release throughout.
self.addEventListener("install", (event) => event.waitUntil(fill()));
self.addEventListener("message", (event) => event.data === "take over" && self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim().then(drop)));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  const isShell = request.mode === "navigate" && url.pathname === SHELL;
  if (isShell || self.FILES.includes(url.pathname))
    event.respondWith(kept(isShell ? SHELL : url.pathname, request));
});

// All or nothing: a release with a part missing is not taken. A redirected answer would be the sign-in page.
async function fill() {
  const cache = await caches.open(OURS + self.RELEASE);
  await Promise.all(
    [SHELL, ...self.FILES].map(async (address) => {
      const answer = await fetch(address, { cache: "no-cache", redirect: "error" });
      if (!answer.ok || answer.type !== "basic") throw new Error(`${address}: ${answer.status}`);
      await cache.put(address, answer);
    }),
  );
}

async function drop() {
  const names = await caches.keys();
  await Promise.all(
    names
      .filter((name) => name.startsWith(OURS) && name !== OURS + self.RELEASE)
      .map((name) => caches.delete(name)),
  );
}

// Asked of the cache by name, never by opening it: a late request of an old page would bring an emptied one back.
async function kept(address, request) {
  return (await caches.match(address, { cacheName: OURS + self.RELEASE })) ?? fetch(request);
}
