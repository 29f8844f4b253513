// The photos of a visit: what each shows, what became of it, and what can be done with one that waits.

import { atVisit } from "../at_visit.js";
import { button, field, h, replace } from "../dom.js";
import { onprogress, photosOf, sendAgain, sendWithout, wayOf } from "../photos.js";
import { gettext } from "../words.js";
import { photoStrip, stateWords, thumbnail } from "./photo_strip.js";
import { nothingKnown } from "./visit_parts.js";

const MOST_CAPTION = 200;

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  const photos = await photosOf(id);
  if (!known && !photos.length) return nothingKnown(root, app);
  app.title(gettext("Photos"));
  const entries = await app.outbox.of(id);
  const rows = new Map();
  const list = photos.toReversed().map((photo) => row(app, entries, photo, rows));
  replace(
    root,
    known && (await takeOne(app, known.visit)), // a photo that waits outlives its day
    photos.length ? h("ul", { class: "list photo-list" }, list) : h("p", { class: "quiet" }, gettext("No photo of this visit is on this phone.")),
    h("p", { class: "quiet small" }, gettext("Photos go last, after all entries, at 1600 points a side; the originals are not kept.")),
  );
  const close = onprogress(({ id: photo, sent_bytes }) => rows.get(photo)?.(sent_bytes));
  return { keep: true, changed: () => app.refresh(), close }; // no newer page takes over while a photo is being kept
}

// What it shows is said first; what was typed stays until the photo is kept.
async function takeOne(app, visit) {
  const pref = `photo_caption|${visit.id}`;
  const caption = (await app.store.pref(pref)) ?? "";
  const of = { siting: visit.siting, visit: visit.id, caption };
  const input = h("input", { id: "caption", type: "text", value: caption, maxlength: MOST_CAPTION, autocomplete: "off" });
  input.addEventListener("input", () => {
    of.caption = input.value.trim();
    app.store.setPref(pref, of.caption);
  });
  const kept = async (photo) => {
    if ((await app.store.pref(pref)) === photo.caption) await app.store.del("prefs", pref); // else the next is typed already
    await app.refresh();
  };
  return h("section", {}, field(gettext("What the next photo shows"), input), photoStrip([], of, kept));
}

function row(app, entries, photo, rows) {
  const state = h("p", { class: "quiet" });
  const say = (sent_bytes = photo.sent_bytes) => replace(state, stateWords({ ...photo, sent_bytes }, entries, app.person));
  say();
  rows.set(photo.id, say);
  const words = photo.caption || photo.about?.title || gettext("of the visit");
  return h("li", {}, h("div", { class: "item" }, thumbnail(photo), h("div", { class: "grow" }, h("p", {}, words), state, verbs(app, entries, photo))));
}

function verbs(app, entries, photo) {
  if (photo.state === "taken") return null;
  const { waits } = wayOf(photo, entries, app.person);
  const then = (act) => async () => {
    await act(photo.id);
    app.sync.now();
    await app.refresh();
  };
  if (waits === "word") return button(gettext("Send it again"), then(sendAgain), { kind: "quiet" });
  if (waits !== "grade") return null;
  const { kind, id } = photo.about;
  return h(
    "div",
    { class: "row" },
    h("a", { class: "button", href: `#/visit/${photo.visit}/inspect/${kind}/${encodeURIComponent(id)}` }, gettext("Grade it")),
    button(gettext("Send it without a grade"), then(sendWithout), { kind: "quiet" }),
  );
}
