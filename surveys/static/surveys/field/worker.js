// The service worker: keeps the page on the phone, whole and of one version, and answers for it without a network. It
// never touches what people enter, nor any answer of the API. The server puts SHELL before this text: the version, which
// follows from the contents of all files, and the addresses. They come as one pack; one of another version (half of a
// new release) fails the installation, which the browser tries again later.

const PREFIX = "field-";
const CACHE = PREFIX + SHELL.version;
const OURS = new Set(SHELL.addresses);

addEventListener("install", (event) => event.waitUntil(keepAll()));
addEventListener("activate", (event) => event.waitUntil(takeOver()));
addEventListener("message", (event) => event.data === "use" && skipWaiting());
addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin || !OURS.has(pathname)) return;
  event.respondWith(answer(request, pathname));
});

async function keepAll() {
  const fetched = await fetch("/field/shell.json", { cache: "no-store" });
  const { version, files } = await fetched.json();
  if (version !== SHELL.version) throw new Error(`a shell of version ${version}, not ${SHELL.version}`);
  const cache = await caches.open(CACHE);
  const put = ([address, file]) => cache.put(address, new Response(bodyOf(file), { headers: headersOf(fetched, file) }));
  await Promise.all(Object.entries(files).map(put));
}

const bodyOf = ({ text, base64 }) => text ?? Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));

/** What the server says of every answer, its policies too, with the file's own type. */
function headersOf(fetched, { type }) {
  const headers = new Headers(fetched.headers);
  headers.set("Content-Type", type);
  for (const name of ["Content-Encoding", "Content-Length", "Vary"]) headers.delete(name);
  return headers;
}

async function takeOver() {
  const old = (await caches.keys()).filter((name) => name.startsWith(PREFIX) && name !== CACHE);
  await Promise.all(old.map((name) => caches.delete(name)));
  await clients.claim();
}

let opened = null; // once a start: dozens of files are asked for at a time

async function answer(request, path) {
  const cache = await (opened ??= caches.open(CACHE));
  return (await cache.match(path)) ?? fetch(request);
}
