// Talking to the service: JSON with the page's session, one error shape, errors put at their fields.

export class Refused extends Error {
  constructor(message, fields) {
    super(message);
    this.fields = fields;
  }
}

// Send JSON; give back JSON (null when there is none). Refused carries the service's words.
export async function send(method, address, token, body) {
  const answer = await fetch(address, {
    method,
    headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": token },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  if (!answer.ok) throw await refusal(answer);
  return answer.status === 204 ? null : answer.json();
}

export async function refusal(answer) {
  try {
    const { message, fields } = await answer.json();
    return new Refused(message, fields ?? {});
  } catch {
    return new Refused(`${answer.status} ${answer.statusText}`, {});
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
      left.push(`${name}: ${words}`);
      continue;
    }
    slot.textContent = words;
    slot.closest(".field")?.querySelector("input, select")?.setAttribute("aria-invalid", "true");
  }
  const foot = form.querySelector('[data-error-of=""]');
  if (foot) foot.textContent = [message, ...left].filter(Boolean).join(" ");
  form.querySelector('[aria-invalid="true"]')?.focus();
}
