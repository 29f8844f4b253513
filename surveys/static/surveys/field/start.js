// The first script: has the page kept on the phone before the rest is fetched, so that a first visit fetches nothing
// twice. Where a browser keeps nothing, or takes too long, the rest comes from the server file by file.

const PATIENCE_MS = 20_000;

async function kept() {
  const { serviceWorker } = navigator;
  if (!serviceWorker) return;
  const { active, installing } = await serviceWorker.register("/field/worker.js", { scope: "/field/", updateViaCache: "none" });
  if (serviceWorker.controller || active) return;
  await new Promise((resolve) => {
    serviceWorker.addEventListener("controllerchange", resolve, { once: true });
    installing?.addEventListener("statechange", ({ target }) => target.state === "redundant" && resolve());
    setTimeout(resolve, PATIENCE_MS);
  });
}

await kept().catch((error) => console.warn(error));
await import("./app.js");
