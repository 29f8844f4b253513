// What the browser knows of the page as an app: whether it is installed, whether it can be, and whether the browser
// has promised to keep what the page stores even when the phone runs full.

let offered = null;

addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault(); // it is offered in the settings, not over the first reading
  offered = event;
});
addEventListener("appinstalled", () => (offered = null));

/** Whether the page runs as an installed app. */
export const isInstalled = () => matchMedia("(display-mode: standalone)").matches || navigator.standalone === true;

/** Whether the browser offers to install it by a button. */
export const canInstall = () => offered !== null;

/** Have the browser ask whether to install it. */
export async function install() {
  await offered?.prompt();
  offered = null;
}

/** {isPersistent, used_bytes, quota_bytes}; null where the browser tells nothing. */
export async function storage() {
  if (!navigator.storage?.estimate) return null;
  const { usage, quota } = await navigator.storage.estimate();
  return { isPersistent: await navigator.storage.persisted(), used_bytes: usage, quota_bytes: quota };
}

/** Ask the browser to keep what is stored; returns whether it will. */
export const persist = () => navigator.storage.persist();
