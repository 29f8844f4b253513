// A server for the model check: it takes entries by the rules of the service, kept as small as they can be. A row is one
// content (edition) under one entry's key; of an entry at most one is taken. `isAllowed` is what the office may change:
// until then it refuses readings that need its word. All is plain data, and taking returns a new server.

export const newServer = () => ({ rows: {}, order: [], isAllowed: false });

export const rowOf = (entry) => `${entry.id}#${entry.body.edition}${entry.body.replaces ?? ""}`;

/** Take entries in order, all in one transaction; return {server, results}. */
export function take(server, entries) {
  const after = { ...server, rows: { ...server.rows }, order: [...server.order] };
  const results = entries.map((entry) => takeOne(after, entry));
  return { server: after, results };
}

function takeOne(server, entry) {
  const key = rowOf(entry);
  const { id } = entry;
  if (server.rows[key] === "taken") return { id, state: "repeated", code: contested(server.order.find((row) => row.id === id)) };
  if (server.rows[key] === "mended") return { id, state: "repeated", code: "mended" };
  const code = isTaken(server, id) ? "conflict" : refusal(server, entry);
  if (code) {
    server.rows[key] = "set_aside";
    return { id, state: "set_aside", code, message: code, fields: {} };
  }
  const isContested = Boolean(entry.body.replaces) && holder(server, entry.body.replaces) !== null;
  for (const other of Object.keys(server.rows)) {
    const isOther = other.startsWith(`${id}#`) || (entry.mends && other.startsWith(`${entry.mends}#`));
    if (isOther && server.rows[other] === "set_aside") server.rows[other] = "mended";
  }
  server.rows[key] = "taken";
  server.order.push({ id, kind: entry.kind, body: entry.body, isContested });
  return { id, state: "taken", code: contested({ isContested }) };
}

const contested = ({ isContested }) => (isContested ? "contested" : "");

const isTaken = (server, id) => server.order.some((row) => row.id === id);
const holder = (server, id) => server.order.find((row) => row.body.replaces === id && !row.isContested) ?? null;

function refusal(server, { body }) {
  if (body.isBad) return "invalid";
  if (body.needsWord && !server.isAllowed) return "invalid";
  const needs = [body.survey, body.setup, body.replaces].filter(Boolean);
  const isSecond = server.order.some((row) => row.id === body.replaces && row.isContested);
  return needs.every((id) => isTaken(server, id)) && !isSecond ? null : "invalid";
}

/** What the server has, told so that two servers with the same are told alike. */
export const keyOf = (server) =>
  `${server.isAllowed ? "!" : ""}${server.order.map((row) => row.id + (row.isContested ? "?" : "")).join()}|${Object.entries(server.rows)
    .map(([key, state]) => key + state[0])
    .sort()
    .join()}`;

export const standing = (server) =>
  server.order.filter((row) => row.kind === "reading" && !row.isContested && holder(server, row.id) === null);

/** The place as the day tells it to a phone whose entries it had `known` when it was asked. */
export function placeOf(server, known) {
  const setups = server.order.filter((row) => row.kind === "setup");
  const rows = standing(server).map((row) => ({ ...row.body, id: row.id, value_in: "1", reference_value_in: "0" }));
  const surveys = server.order.filter((row) => row.kind === "survey");
  return {
    siting: { id: "siting" },
    knows: known,
    open_surveys: surveys.map((survey) => ({
      id: survey.id,
      state: "open",
      unit: "in",
      started_at: "2026-03-03T12:00:00Z",
      setups: setups.filter((row) => row.body.survey === survey.id).map((row) => ({ id: row.id, ...row.body })),
      standing_readings: rows.filter((row) => setups.some((setup) => setup.id === row.setup && setup.body.survey === survey.id)),
    })),
  };
}
