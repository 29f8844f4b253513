// Makes elements without a framework: text is always text, never markup, and nothing is inline that the page's
// Content-Security-Policy forbids. Styles are classes; a measure that is only known at run time goes to `el.style`.

const SVG = "http://www.w3.org/2000/svg";
const AS_PROPERTY = new Set(["value", "checked", "indeterminate"]);

/** Make an HTML element. `onclick` and its like are listeners; true and false set or leave out an attribute. */
export function h(tag, attributes, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

/** Make an SVG element. */
export function svg(tag, attributes, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

/** Put these children in the place of whatever an element holds. */
export function replace(element, ...children) {
  element.replaceChildren(...flat(children));
  return element;
}

/** Make a button; `kind` is "verb" (the one thing to do here), "stop", "quiet", or none. */
export function button(words, action, { kind = "", ...attributes } = {}) {
  return h("button", { type: "button", class: kind, onclick: action, ...attributes }, words);
}

let made = 0;

/** Put a label, a hint and an error to an input; they are told with it by a screen reader. */
export function field(label, input, { hint = "", error = "" } = {}) {
  input.id ||= `field-${++made}`;
  const told = [];
  const tell = (text, kind) => {
    if (!text) return null;
    told.push(`${input.id}-${kind}`);
    return h("p", { id: told.at(-1), class: kind }, text);
  };
  const lines = [tell(hint, "hint"), tell(error, "error")];
  if (told.length) input.setAttribute("aria-describedby", told.join(" "));
  if (error) input.setAttribute("aria-invalid", "true");
  return h("div", { class: "field" }, h("label", { for: input.id }, label), input, ...lines);
}

function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) set(element, name, value);
  element.append(...flat(children));
  return element;
}

function set(element, name, value) {
  if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
  else if (AS_PROPERTY.has(name)) element[name] = value ?? "";
  else if (value === true) element.setAttribute(name, truth(name));
  else if (isThere(name, value)) element.setAttribute(name, value);
}

const isThere = (name, value) =>
  value !== null && value !== undefined && value !== false && !(name === "class" && value === "");

// A boolean attribute is there or not; an ARIA state is the word "true".
const truth = (name) => (name.startsWith("aria-") ? "true" : "");

const flat = (children) =>
  children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false);
