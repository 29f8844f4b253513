// The first script: has the page kept on the phone before the rest is fetched, so that a first visit fetches nothing
// twice. Where a browser keeps nothing, or takes too long, the rest comes from the server file by file.

const PATIENCE_MS = 20_000;

async function kept() {
  const { serviceWorker } = navigator;
  if (!serviceWorker) return;
  const registering = serviceWorker.register("/field/worker.js", { scope: "/field/", updateViaCache: "none" });
  registering.catch((error) => console.warn(error));
  if (serviceWorker.controller) return; // the page has come from this phone: nothing waits for the network
  const { active, installing } = await registering;
  if (active) return;
  await new Promise((resolve) => {
    serviceWorker.addEventListener("controllerchange", resolve, { once: true });
    installing?.addEventListener("statechange", ({ target }) => target.state === "redundant" && resolve());
    setTimeout(resolve, PATIENCE_MS);
  });
}

/** Add the styles that stand beside the first one. A style that fails to come is missed, and the page still works. */
function styled() {
  const names = document.documentElement.dataset.styles.split(" ").filter(Boolean);
  const added = names.map((name) => {
    const link = document.createElement("link");
    link.rel = "stylesheet";
    link.href = new URL(name, import.meta.url);
    document.head.append(link);
    return new Promise((resolve) => (link.onload = link.onerror = resolve));
  });
  return Promise.all(added);
}

await kept().catch(() => {}); // told by then
const [app] = await Promise.all([import("./app.js"), styled()]);
await app.start();
