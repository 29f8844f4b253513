// Keeps the page itself on the phone and lets newer versions of it in: at the next start, or by a button. A version is
// never changed under somebody's thumb: while a key-pad is open the reload waits for the next screen.

const CHECK_EVERY_MS = 3600_000;

let registration = null;
let isAsked = false;
let isTouched = false;

/** Whether a newer version lies ready; whether this one is kept on the phone. */
export const isReady = () => Boolean(registration?.waiting && navigator.serviceWorker.controller);
export const isKept = () => Boolean(registration?.active);

/** Which version this is; null where none is kept. */
export async function version() {
  const names = "caches" in globalThis ? await caches.keys() : [];
  return names.find((name) => name.startsWith("field-"))?.slice("field-".length) ?? null;
}

/** Use the newer version now. */
export const use = () => registration?.waiting?.postMessage("use");

/** Watch for newer versions. Returns what the page asks between two screens. */
export function startVersions(app) {
  addEventListener("pointerdown", () => (isTouched = true), { once: true });
  addEventListener("keydown", () => (isTouched = true), { once: true });
  if ("serviceWorker" in navigator) watch(app).catch((error) => console.warn(error));
  return { applyIfAsked: () => isAsked && location.reload() };
}

async function watch(app) {
  let hadOne = Boolean(navigator.serviceWorker.controller);
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (hadOne) reload(app);
    hadOne = true; // the first worker only takes over a page that is its own version
  });
  registration = await navigator.serviceWorker.getRegistration("/field/"); // start.js has seen to it
  if (!registration) return;
  if (isReady() && !isTouched) use();
  registration.addEventListener("updatefound", () => {
    registration.installing?.addEventListener("statechange", () => app.changed("version"));
  });
  const check = () => navigator.onLine && registration.update().catch(() => {});
  setInterval(check, CHECK_EVERY_MS);
  addEventListener("online", check);
}

function reload(app) {
  if (app.isBusy()) isAsked = true;
  else location.reload();
}
