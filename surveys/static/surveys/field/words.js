// What the page says, in the crew's language. Sentences stand in English where they are said; the Spanish comes from
// one catalogue that lies in the phone's cache with the page. Blanks are {name}, filled in after translation.

let catalogue = {};
let spoken = "en";

export const LANGUAGES = { en: "English", es: "Español" };

/** Fetch the catalogue of a language; English needs none. */
export async function speak(language) {
  spoken = language in LANGUAGES ? language : "en";
  catalogue = spoken === "en" ? {} : await fetched(spoken);
  document.documentElement.lang = spoken;
}

async function fetched(language) {
  try {
    const answer = await fetch(`/field/words/${language}.json`);
    return answer.ok ? await answer.json() : {};
  } catch {
    return {}; // without cache and network the page speaks English
  }
}

/** The language that is spoken: "en" or "es". */
export const language = () => spoken;

/** Say a sentence. */
export const gettext = (sentence) => catalogue[sentence] ?? sentence;

/** Say a sentence of one thing or of many; both languages use the second form for all but 1. */
export function ngettext(one, many, n) {
  const forms = catalogue[one] ?? [one, many];
  return forms[n === 1 ? 0 : 1];
}

/** Fill the blanks of a sentence. A blank that nothing fills stays, so that it is seen. */
export const fill = (sentence, values) =>
  sentence.replace(/\{(\w+)\}/g, (blank, name) => (name in values ? String(values[name]) : blank));

/** Write a time of day, or a day, as the language does, in the time zone of the company where it is known. */
export const clock = (date, timeZone) =>
  new Intl.DateTimeFormat(spoken, { hour: "numeric", minute: "2-digit", timeZone }).format(date);
export const dayName = (date, timeZone) =>
  new Intl.DateTimeFormat(spoken, { weekday: "long", day: "numeric", month: "long", timeZone }).format(date);
