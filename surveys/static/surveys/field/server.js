// Speaks to the server when there is a network: with the browser's session, and with the token that writes need. A
// network that is gone, a server that doesn't answer and an answer that is no answer of ours are one error, Unreached;
// whatever the server itself says is handed back with its status.

const PATIENCE_MS = 30_000;

/** No answer: the phone may be off line, or something in between is down. */
export class Unreached extends Error {}

let token = "";

/** Remember the token that `/field/who/` told. */
export const setToken = (csrf) => (token = csrf ?? "");

/** Ask the server. Returns {status, headers, body}; the body is parsed when it is JSON. */
export async function ask(path, { method = "GET", json, bytes, headers = {}, patience_ms = PATIENCE_MS } = {}) {
  const sent = { Accept: "application/json", ...headers };
  if (method !== "GET") sent["X-CSRFToken"] = token;
  if (json !== undefined) sent["Content-Type"] = "application/json";
  if (bytes !== undefined) sent["Content-Type"] = "application/octet-stream";
  const body = json === undefined ? bytes : JSON.stringify(json);
  const signal = AbortSignal.timeout(patience_ms);
  try {
    const answer = await fetch(path, { method, headers: sent, body, signal, cache: "no-store", redirect: "error" });
    return { status: answer.status, headers: answer.headers, ...(await read(answer)) };
  } catch (error) {
    throw new Unreached(String(error));
  }
}

async function read(answer) {
  const text = await answer.text();
  const isJson = (answer.headers.get("Content-Type") ?? "").includes("json");
  const isWhole = answer.status === 204 || (isJson && text !== "");
  if (answer.ok && !isWhole) throw new Unreached("not an answer of the service, or only its beginning");
  return { body: isJson && text ? JSON.parse(text) : null, bytes: text.length };
}
