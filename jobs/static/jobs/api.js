// Talking to the service: JSON with the page's session, one error shape, errors put at their fields.

export class Refused extends Error {
  constructor(status, { message, fields, current, changes }) {
    super(message);
    this.status = status;
    this.fields = fields ?? {};
    this.current = current; // of what somebody else has changed meanwhile: what it says now
    this.changes = changes ?? []; // and who changed what
  }
}

// Send JSON; give back JSON (null when there is none). Refused carries the service's words. What changes a row that is
// there names the edition it was made from, so that nobody writes over somebody else unseen.
export async function send(method, address, token, body, edition) {
  const headers = { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": token };
  if (edition !== undefined) headers["If-Match"] = `"${edition}"`;
  const answer = await fetch(address, {
    method,
    headers,
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  if (!answer.ok) throw await refusal(answer);
  return answer.status === 204 ? null : answer.json();
}

export async function refusal(answer) {
  try {
    return new Refused(answer.status, await answer.json());
  } catch {
    return new Refused(answer.status, { message: `${answer.status} ${answer.statusText}` });
  }
}

// Show what is wrong at each field of a form, the rest at its foot, and go to the first.
export function showErrors(form, message, fields) {
  const left = [];
  for (const slot of form.querySelectorAll("[data-error-of]")) slot.textContent = "";
  for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  for (const [name, words] of Object.entries(fields)) {
    const slot = form.querySelector(`[data-error-of="${CSS.escape(name)}"]`);
    if (!slot || slot.closest("[hidden]")) {
      const called = slot?.closest(".field")?.querySelector("label")?.textContent ?? name;
      left.push(`${called}: ${words}`);
      continue;
    }
    slot.textContent = words;
    slot.closest(".field")?.querySelector("input, select")?.setAttribute("aria-invalid", "true");
  }
  const foot = form.querySelector('[data-error-of=""]');
  if (foot) foot.textContent = [message, ...left].filter(Boolean).join(" ");
  form.querySelector('[aria-invalid="true"]')?.focus();
}
