// The service worker: keeps the page on the phone, whole and of one version, and answers for it without a network. It
// never touches what people enter, nor any answer of the API. The server puts SHELL before this text: the version,
// which follows from the contents of all files, and each file with the SHA-256 that it must have. A file that came in
// with other contents (half of a new release) fails the installation, which the browser tries again later.

const PREFIX = "field-";
const CACHE = PREFIX + SHELL.version;

addEventListener("install", (event) => event.waitUntil(keepAll()));
addEventListener("activate", (event) => event.waitUntil(takeOver()));
addEventListener("message", (event) => event.data === "use" && skipWaiting());
addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin || !(pathname in SHELL.files)) return;
  event.respondWith(answer(request, pathname));
});

async function keepAll() {
  const cache = await caches.open(CACHE);
  await Promise.all(Object.entries(SHELL.files).map(([path, sha256]) => keep(cache, path, sha256)));
}

async function keep(cache, path, sha256) {
  const fetched = await fetch(path, { cache: "reload" });
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", await fetched.clone().arrayBuffer()));
  const found = Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
  if (!fetched.ok || found !== sha256) throw new Error(`${path} is not of version ${SHELL.version}`);
  await cache.put(path, fetched);
}

async function takeOver() {
  const old = (await caches.keys()).filter((name) => name.startsWith(PREFIX) && name !== CACHE);
  await Promise.all(old.map((name) => caches.delete(name)));
  await clients.claim();
}

async function answer(request, path) {
  const cache = await caches.open(CACHE);
  return (await cache.match(path)) ?? fetch(request);
}
