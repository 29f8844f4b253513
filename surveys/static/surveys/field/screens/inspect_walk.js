// Everything under a home in the order of a walk: what is recorded of each thing, what was found at this visit and
// before it, what stands open. Pure: it reads a place of the day and the rows that `record.js` gives, nothing else.

const GRADES = ["ok", "note", "fix", "stop"];
const LEADERS = ["crew_lead", "office", "manager"];
export const KINDS = ["support", "strap", "connection", "drain_run", "item"];
const NAMES = { support: "point", strap: "strap", connection: "connection", drain_run: "drain_run", item: "item" };

export const keyOf = (kind, id) => `${kind}|${id}`;
export const isWorse = (grade, than) => GRADES.indexOf(grade) > GRADES.indexOf(than);

/** What a finding or strap check is about. */
export function subjectOf(row) {
  const kind = KINDS.find((each) => row[NAMES[each]]);
  return keyOf(kind ?? "item", kind ? row[NAMES[kind]] : "");
}

/** The field of an entry's body that names a thing. */
export const fieldOf = (kind) => NAMES[kind];

function newestFirst(a, b) {
  const later = Date.parse(b.noted_at) - Date.parse(a.noted_at) || (b.sequence ?? 0) - (a.sequence ?? 0);
  return later || (a.id < b.id ? 1 : -1);
}

function seenBy(rows) {
  const seen = new Map();
  for (const row of [...rows].sort(newestFirst)) {
    const subject = subjectOf(row);
    if (!seen.has(subject)) seen.set(subject, []);
    seen.get(subject).push(row);
  }
  return seen;
}

/**
 * The walk of a visit: `things` in order, each `{kind, id, title, row, label, found, before}` with `found` newest first.
 * `rows` are findings and strap checks of this siting, those of this phone among them.
 */
export function walkOf(place, items, visit, rows) {
  const found = seenBy(rows.filter((row) => row.visit === visit));
  const before = seenBy(rows.filter((row) => row.visit !== visit));
  const thing = (kind, id, title, row) => {
    const subject = keyOf(kind, id);
    return { kind, id, title, row, found: found.get(subject) ?? [], before: before.get(subject)?.[0] ?? null };
  };
  const below = belowIn(place, thing);
  const things = [
    ...below,
    ...byCode(place.connections).map((row) => thing("connection", row.id, row.code, row)),
    ...byCode(place.drain_runs).map((row) => thing("drain_run", row.id, row.code, row)),
    ...items.map((row) => thing("item", row.code, row.words, row)),
  ];
  return { things, lookedAt: things.filter((each) => each.found.length).length };
}

// Supports in walking order, each followed by the straps that hang at it.
function belowIn(place, thing) {
  const order = new Map(place.points.map((point, index) => [point.id, index]));
  const labels = new Map(place.points.map((point) => [point.id, point.label]));
  const label = (id) => labels.get(id) ?? "";
  const strapAt = (row) => ({ ...thing("strap", row.id, row.code, row), label: label(row.point) });
  const supports = [...place.supports].sort((a, b) => (order.get(a.point) ?? 1e9) - (order.get(b.point) ?? 1e9));
  const straps = byCode(place.straps);
  const stands = new Set(supports.map((row) => row.point));
  return [
    ...supports.flatMap((row) => [
      { ...thing("support", row.point, label(row.point), row), label: label(row.point) },
      ...straps.filter((strap) => strap.point === row.point).map(strapAt),
    ]),
    ...straps.filter((strap) => !stands.has(strap.point)).map(strapAt),
  ];
}

const byCode = (rows) => [...rows].sort((a, b) => (a.code < b.code ? -1 : 1));

export const thingOf = (walk, kind, id) => walk.things.find((each) => each.kind === kind && each.id === id) ?? null;

/** The next thing that nobody looked at: after a thing in walking order, else from the beginning; null: none is left. */
export function nextOpen(walk, kind = "", id = "") {
  const at = walk.things.findIndex((each) => each.kind === kind && each.id === id);
  const isOpen = (each) => !each.found.length && !(each.kind === kind && each.id === id);
  return walk.things.slice(at + 1).find(isOpen) ?? walk.things.find(isOpen) ?? null;
}

/** How many things of each kind there are, and how many were looked at; kinds of which there are none are left out. */
export function progressOf(walk) {
  return KINDS.map((kind) => {
    const all = walk.things.filter((each) => each.kind === kind);
    return { kind, count: all.length, done: all.filter((each) => each.found.length).length };
  }).filter((part) => part.count);
}

/**
 * What a support's condition is once the server has everything: a worse finding counts at once, a better one only with
 * words, by somebody who leads. `inDay` are the ids that the record's condition follows already.
 */
export function conditionAfter(condition, rows, inDay, mayRaise) {
  const later = rows.filter((row) => !inDay.has(row.id)).sort((a, b) => newestFirst(b, a));
  return later.reduce((stood, row) => {
    const takesBack = isWorse(stood, row.grade) && row.text?.trim() && mayRaise(row.author);
    return isWorse(row.grade, stood) || takesBack ? row.grade : stood;
  }, condition);
}

export const leads = (person) => Boolean(person?.roles?.some((role) => LEADERS.includes(role)));
