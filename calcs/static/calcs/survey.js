// While the background work goes on, ask how far it is; when there is something new, put the newly rendered answers
// in place. Without this the page is complete too: loading it again shows the same.

const FIRST_WAIT_MS = 1500;
const LONGEST_WAIT_MS = 15000;

const progress = document.getElementById("progress");
let wait = FIRST_WAIT_MS;

// Somebody is filling in a form there: what they have typed stays until it is sent.
function isBeingFilledIn() {
  const fields = document.querySelectorAll("#answers form :is(input, textarea)");
  return [...fields].some((field) => field.value !== field.defaultValue);
}

async function putInPlace() {
  const answer = await fetch(window.location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const open = [...document.querySelectorAll("#answers details[open] summary")].map((line) => line.textContent);
  const fresh = page.getElementById("answers");
  for (const line of fresh.querySelectorAll("details summary")) {
    if (open.includes(line.textContent)) line.parentElement.open = true;
  }
  document.getElementById("answers").replaceWith(fresh);
}

async function look() {
  try {
    const answer = await fetch(progress.dataset.address, { headers: { Accept: "application/json" } });
    if (answer.ok) {
      const { state, words, stamp } = await answer.json();
      if (progress.textContent !== words) progress.textContent = words;
      progress.dataset.state = state;
      if (stamp !== progress.dataset.stamp && !isBeingFilledIn()) {
        await putInPlace();
        wait = FIRST_WAIT_MS;
        progress.dataset.stamp = stamp;
      }
    }
  } catch {
    // Out of reach for now: ask again, less often.
  }
  plan();
}

// Once all is computed there is still a late reading or a correction to wait for, but no hurry.
function plan() {
  wait = progress.dataset.state === "working" ? Math.min(wait * 1.3, LONGEST_WAIT_MS) : LONGEST_WAIT_MS;
  setTimeout(() => (document.hidden ? plan() : look()), wait);
}

if (progress) plan();
