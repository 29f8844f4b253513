// Photos on a screen: thumbnails from the phone with what became of each, and the button that takes one. The camera is
// the file picker's; the picture is small and on the disk before it shows here.

import { h, replace } from "../dom.js";
import { keepPhoto, photosOf, unsentPhotos, wayOf } from "../photos.js";
import { isFull } from "../store.js";
import { fill, gettext, ngettext } from "../words.js";
import { NoPicture } from "./photo_shrink.js";

const KB = 1024;

/** Thumbnails, and a button that takes one more. `of` says what it is of; `onkept()` is told when it is stored. */
export function photoStrip(photos, of, onkept) {
  return h("div", { class: "photos" }, photos.map((photo) => thumbnail(photo)), takeButton(of, onkept));
}

/** The photos of a visit that show nothing under the home but what `caption` says, with a button for one more. */
export async function photosPanel(app, visit, { caption }) {
  const photos = (await photosOf(visit.id)).filter((photo) => !photo.about && photo.caption === caption);
  return photoStrip(photos, { siting: visit.siting, visit: visit.id, caption }, () => app.refresh());
}

/** A small picture; painted, as no address of a picture made here is allowed. */
export function thumbnail(photo) {
  const words = photo.caption || photo.about?.title || gettext("Photo");
  const canvas = h("canvas", { class: "thumb", width: 96, height: 72, role: "img", "aria-label": words });
  paint(canvas, photo.thumb);
  return canvas;
}

async function paint(canvas, blob) {
  const bitmap = await createImageBitmap(blob);
  [canvas.width, canvas.height] = [bitmap.width, bitmap.height];
  canvas.getContext("2d").drawImage(bitmap, 0, 0);
  bitmap.close();
}

function takeButton(of, onkept) {
  const words = h("span", {}, gettext("Take a photo"));
  const told = h("p", { class: "note", role: "alert", hidden: true });
  const input = h("input", { type: "file", accept: "image/*", capture: "environment", class: "heard", id: "take-photo" });
  input.addEventListener("change", async () => {
    const [file] = input.files;
    if (!file) return;
    input.disabled = true;
    replace(words, gettext("Keeping the photo"));
    try {
      await onkept(await keepPhoto(file, of));
    } catch (error) {
      const sentence = whyNot(error);
      if (!sentence) throw error;
      told.hidden = false;
      replace(told, sentence);
    } finally {
      input.disabled = false;
      input.value = "";
      replace(words, gettext("Take a photo"));
    }
  });
  return [h("label", { class: "button take" }, words, input), told];
}

function whyNot(error) {
  if (isFull(error)) return gettext("This phone is full: the photo is not kept. Make room, then take it again.");
  return error instanceof NoPicture ? gettext("This phone can't read that picture: the photo is not kept. Take it again.") : "";
}

/** What becomes of a photo, in words. */
export function stateWords(photo, entries, person) {
  if (photo.state === "taken") return gettext("sent");
  const { waits } = wayOf(photo, entries, person);
  const why = {
    author: fill(gettext("waits until {name} signs in here"), { name: photo.author_name }),
    grade: fill(gettext("waits: {thing} has no grade yet"), { thing: photo.about?.title ?? "" }),
    finding: gettext("waits until its finding is sent"),
    word: fill(gettext("not taken: {why}"), { why: photo.reason?.message || photo.reason?.code }),
  }[waits];
  if (why) return why;
  if (!photo.sent_bytes) return gettext("not sent yet");
  return fill(gettext("{sent} of {size} kB sent"), { sent: kb(photo.sent_bytes), size: kb(photo.size_bytes) });
}

const kb = (bytes) => Math.round(bytes / KB);

/** The way to photos that are not sent, visit by visit, with what the first of each waits for; null where none is. */
export async function waitingPhotos(app) {
  const [photos, entries] = await Promise.all([unsentPhotos(), app.outbox.all()]);
  if (!photos.length) return null;
  const visits = Map.groupBy(photos, (photo) => photo.visit);
  const link = ([visit, [first, ...rest]]) => {
    const n = rest.length + 1;
    const count = fill(ngettext("{n} photo", "{n} photos", n), { n });
    return h("li", {}, h("a", { href: `#/visit/${visit}/photos` }, h("span", { class: "to" }, count), " ", stateWords(first, entries, app.person)));
  };
  return h("section", {}, h("h2", {}, gettext("Photos")), h("ul", { class: "list" }, [...visits].map(link)));
}
