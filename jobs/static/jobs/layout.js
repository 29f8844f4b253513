// The layout page: draw a layout before it is kept, then correct it point by point. The server draws; this sends
// each correction to the API and puts the newly drawn plan in place.

import { Refused, refusal, send, showErrors } from "./api.js";

const generate = document.getElementById("generate");
const preview = document.getElementById("preview");
const editor = document.getElementById("point");
const drawing = document.getElementById("drawing");
const said = document.getElementById("said");
const words = editor.dataset;
const frameSurfaces = words.frame.trim().split(" ");
const clash = editor.querySelector("[data-clash]");
const LATE = 412; // somebody else has changed it meanwhile
let chosen = null; // id of the point that is being corrected; null: a new one
let over = null; // what the person would do all the same, once it is known what somebody else did

const token = (form) => form.elements.csrfmiddlewaretoken.value;
const row = (id) => drawing.querySelector(`[data-row="${CSS.escape(id)}"]`);
const numberOf = (input) => (input.value.trim() === "" ? null : Number(input.value));

// Run something that talks to the service, with its refusal shown in a form. What was pressed can't be pressed again
// until the answer is there.
async function trying(form, work, pressed = null) {
  showErrors(form, "", {});
  said.textContent = "";
  if (pressed) pressed.disabled = true;
  try {
    await work();
  } catch (error) {
    if (error instanceof Refused) showErrors(form, error.message, error.fields);
    else showErrors(form, words.saidLost, {});
  } finally {
    if (pressed) pressed.disabled = false;
    if (pressed && document.activeElement === document.body) pressed.focus({ preventScroll: true });
  }
}

// -- laying out ---------------------------------------------------------------------------------------------

function specification() {
  const spec = {};
  for (const input of generate.elements) {
    if (!input.name || input.name === "csrfmiddlewaretoken") continue;
    if (input.type === "checkbox") spec[input.name] = input.checked;
    else if (input.value.trim() !== "") spec[input.name] = Number(input.value);
  }
  return spec;
}

async function drawPreview() {
  const answer = await fetch(`${generate.dataset.preview}?${new URLSearchParams(new FormData(generate))}`);
  if (!answer.ok) throw await refusal(answer);
  preview.innerHTML = await answer.text();
}

async function keepLayout() {
  const edition = drawing.querySelector("[data-edition]").dataset.edition;
  try {
    await send("POST", generate.dataset.keep, token(generate), specification(), edition);
  } catch (error) {
    if (error.status === LATE) await drawAgain(null); // a second press replaces what is shown now
    throw error;
  }
  window.location.reload();
}

// A layout that was read is not laid out anew: then there is no form.
if (generate) {
  generate.querySelector('[data-do="preview"]').addEventListener("click", (event) => {
    trying(generate, drawPreview, event.currentTarget);
  });
  generate.addEventListener("change", () => trying(generate, drawPreview));
  generate.addEventListener("submit", (event) => {
    event.preventDefault();
    trying(generate, keepLayout, event.submitter);
  });
}

// -- choosing a point ---------------------------------------------------------------------------------------

function showWhatApplies() {
  const surface = editor.elements.surface.value;
  const holds = {
    new: chosen === null,
    old: chosen !== null,
    frame: frameSurfaces.includes(surface),
    outside: surface === words.outside,
  };
  for (const part of editor.querySelectorAll("[data-only]")) {
    part.hidden = !part.dataset.only.split(" ").every((word) => holds[word]);
  }
}

function choose(id, { focus = true } = {}) {
  chosen = id && row(id) ? id : null;
  const known = chosen ? row(chosen).dataset : {};
  for (const name of ["label", "beam", "x_ft", "y_ft", "design_offset_in"]) {
    editor.elements[name].value = known[name] ?? "";
  }
  if (chosen) editor.elements.surface.value = known.surface;
  const heading = editor.querySelector("[data-heading]");
  heading.textContent = chosen ? known.label : heading.dataset.new;
  for (const mark of drawing.querySelectorAll("[data-point]")) {
    mark.classList.toggle("chosen", mark.dataset.point === chosen);
  }
  if (chosen) listNeighbours();
  showWhatApplies();
  showErrors(editor, "", {});
  said.textContent = "";
  clash.hidden = true;
  if (focus) {
    editor.elements.label.focus({ preventScroll: true });
    editor.scrollIntoView({ block: "nearest" });
  }
}

function listNeighbours() {
  const list = editor.querySelector("[data-neighbours]");
  const pairs = [...row(chosen).querySelectorAll("[data-pair]")];
  list.replaceChildren(
    ...pairs.map((pair) => {
      const item = document.createElement("li");
      const button = document.createElement("button");
      button.type = "button";
      button.className = "plain";
      button.dataset.apart = pair.dataset.pair;
      button.dataset.version = pair.dataset.version;
      button.textContent = words.wordApart;
      item.append(`${pair.textContent} `, button);
      return item;
    }),
  );
  const paired = new Set(pairs.map((pair) => pair.dataset.other));
  const free = [...drawing.querySelectorAll("[data-row]")].filter(
    ({ dataset }) => dataset.row !== chosen && !paired.has(dataset.row) && dataset.surface !== words.outside,
  );
  document
    .getElementById("p_other")
    .replaceChildren(...free.map(({ dataset }) => new Option(dataset.label, dataset.row)));
}

drawing.addEventListener("click", (event) => {
  const hit = event.target.closest("[data-point], [data-choose]");
  if (hit) choose(hit.dataset.point ?? hit.dataset.choose);
});
drawing.addEventListener("keydown", (event) => {
  const hit = event.target.closest("[data-point]");
  if (!hit || (event.key !== "Enter" && event.key !== " ")) return;
  event.preventDefault();
  choose(hit.dataset.point);
});

// -- correcting ---------------------------------------------------------------------------------------------

async function drawAgain(id) {
  const answer = await fetch(words.drawing);
  if (!answer.ok) throw await refusal(answer);
  drawing.innerHTML = await answer.text();
  choose(id, { focus: false });
}

function changed(known) {
  const { label, beam, x_ft, y_ft, design_offset_in } = editor.elements;
  const now = { label: label.value.trim(), x_ft: numberOf(x_ft), y_ft: numberOf(y_ft) };
  if (frameSurfaces.includes(editor.elements.surface.value)) {
    now.beam = beam.value.trim();
    now.design_offset_in = numberOf(design_offset_in) ?? 0;
  }
  return Object.fromEntries(Object.entries(now).filter(([name, value]) => String(value) !== known[name]));
}

async function add() {
  const { surface, kind, mark_class } = editor.elements;
  const body = { siting: words.siting, ...changed({}) };
  if (surface.value === words.outside) {
    const mark = await send("POST", `${words.api}benchmarks/`, token(editor), { ...body, mark_class: mark_class.value });
    return mark.point;
  }
  body.surface = surface.value;
  if (frameSurfaces.includes(surface.value)) body.support = { kind: kind.value };
  return (await send("POST", `${words.api}points/`, token(editor), body)).id;
}

// Change a point; when somebody else was quicker, show what they did and wait for the person's word.
async function change(id, method, body, edition, done) {
  try {
    await send(method, `${words.api}points/${id}/`, token(editor), body, edition);
  } catch (error) {
    if (error.status !== LATE) throw error;
    showClash(error.changes);
    over = () => change(id, method, body, error.current.version, done);
    return;
  }
  clash.hidden = true;
  await done();
}

function showClash(changes) {
  const lines = changes.map(({ label, before, after, who, at }) => {
    const line = document.createElement("li");
    const when = new Date(at).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });
    line.textContent = `${label}: ${before} → ${after} (${who}, ${when})`;
    return line;
  });
  clash.querySelector("ul").replaceChildren(...lines);
  clash.hidden = false;
  clash.scrollIntoView({ block: "nearest" });
  clash.focus({ preventScroll: true });
}

async function kept(id) {
  await drawAgain(id);
  said.textContent = words.saidKept;
}

async function removed() {
  await drawAgain(null);
  said.textContent = words.saidRemoved;
}

editor.addEventListener("submit", (event) => {
  event.preventDefault();
  const id = chosen;
  const keep = async () => {
    if (id === null) {
      await kept(await add());
      return;
    }
    const known = row(id).dataset;
    await change(id, "PATCH", changed(known), known.version, () => kept(id));
  };
  trying(editor, keep, event.submitter);
});

editor.addEventListener("click", (event) => {
  const pressed = event.target;
  const { do: action, apart, version } = pressed.dataset;
  if (action === "new") choose(null);
  if (action === "remove" && window.confirm(words.wordSure)) {
    const id = chosen;
    trying(editor, () => change(id, "DELETE", undefined, row(id).dataset.version, removed), pressed);
  }
  if (action === "over") trying(editor, over, pressed);
  if (action === "drop") trying(editor, () => drawAgain(chosen), pressed);
  if (action === "pair") {
    const body = { siting: words.siting, a: chosen, b: document.getElementById("p_other").value };
    const pair = async () => {
      await send("POST", `${words.api}neighbour-pairs/`, token(editor), body);
      await drawAgain(chosen);
      said.textContent = words.saidKept;
    };
    trying(editor, pair, pressed);
  }
  if (apart) {
    const takeApart = async () => {
      await send("DELETE", `${words.api}neighbour-pairs/${apart}/`, token(editor), undefined, version);
      await drawAgain(chosen);
      said.textContent = words.saidRemoved;
    };
    trying(editor, takeApart, pressed);
  }
});

editor.elements.surface.addEventListener("change", showWhatApplies);
showWhatApplies();
