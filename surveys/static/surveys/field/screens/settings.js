// How the page is on this phone: language, light or dark, whether what is entered is safe here, whether the page is
// installed, which version it is.

import { button, h, replace } from "../dom.js";
import * as install from "../install.js";
import * as versions from "../versions.js";
import { LANGUAGES, fill, gettext, language, speak } from "../words.js";
import { signInNote, versionNote, weight } from "./day.js";

export async function show(root, params, app) {
  app.title(gettext("Settings"));
  replace(
    root,
    versionNote(app),
    signInNote(app),
    choice(gettext("Language"), LANGUAGES, language(), (code) => chooseLanguage(app, code)),
    choice(gettext("Light or dark"), themes(), localStorage.getItem("theme") ?? "", (theme) => chooseTheme(app, theme)),
    storageCard(app, await install.storage()),
    installCard(app),
    await pageCard(app),
  );
}

function choice(legend, choices, chosen, choose) {
  const buttons = Object.entries(choices).map(([value, words]) =>
    button(words, () => choose(value), { id: `choose-${value}`, "aria-pressed": String(value === chosen) }),
  );
  return h("fieldset", { class: "choices" }, h("legend", {}, legend), buttons);
}

async function chooseLanguage(app, code) {
  localStorage.setItem("language", code);
  await speak(code);
  await app.spoken();
}

const themes = () => ({ "": gettext("As the phone"), light: gettext("Light"), dark: gettext("Dark") });

async function chooseTheme(app, theme) {
  localStorage.setItem("theme", theme);
  document.documentElement.dataset.theme = theme;
  await app.refresh();
}

function storageCard(app, state) {
  const told = h("p", { role: "status" });
  const ask = async () => {
    if (await install.persist()) await app.refresh();
    else replace(told, gettext("The browser does not promise it. Installing the page makes it more willing."));
  };
  const isSafe = state?.isPersistent;
  return h(
    "section",
    {},
    h("h2", {}, gettext("What is entered")),
    h("p", {}, isSafe ? gettext("The browser keeps it until it is sent, even when the phone runs full.") : gettext("When the phone runs full, the browser may throw it away.")),
    state && h("p", {}, fill(gettext("{used} are used, {free} are free for this page."), { used: weight(state.used_bytes), free: weight(state.quota_bytes - state.used_bytes) })),
    state && !isSafe && button(gettext("Keep what I enter"), ask, { kind: "verb" }),
    told,
  );
}

function installCard(app) {
  const heading = h("h2", {}, gettext("On the home screen"));
  if (install.isInstalled()) return h("section", {}, heading, h("p", {}, gettext("The page is installed.")));
  const ask = async () => {
    await install.install();
    await app.refresh();
  };
  const how = install.canInstall()
    ? button(gettext("Install"), ask)
    : h("p", {}, gettext("Use the browser's menu: Install, or Add to Home Screen."));
  return h("section", {}, heading, how);
}

async function pageCard(app) {
  const kept = versions.isKept();
  const version = await versions.version();
  return h(
    "section",
    {},
    h("h2", {}, gettext("This page")),
    h("p", {}, kept ? gettext("The page lies on this phone and opens without signal.") : gettext("The page does not lie on this phone yet: it needs signal to open.")),
    version && h("p", { class: "quiet" }, fill(gettext("Version {version}"), { version })),
    h("p", {}, fill(gettext("This phone is {name}."), { name: await app.outbox.device() })),
    app.person && h("p", {}, h("a", { href: "/account/" }, fill(gettext("{name}: account and signing out"), { name: app.person.name }))),
  );
}
