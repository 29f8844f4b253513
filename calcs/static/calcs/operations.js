// Put fresh figures in place every so often, and say so when the service can't be reached. Without this the page is
// complete too: it loads again by itself.

const lost = document.getElementById("lost");

async function look() {
  try {
    const answer = await fetch(window.location.href, { headers: { Accept: "text/html" } });
    if (answer.redirected) return window.location.reload(); // signed out meanwhile
    if (!answer.ok) throw new Error(answer.statusText);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    document.getElementById("figures").replaceWith(page.getElementById("figures"));
    lost.hidden = true;
  } catch {
    lost.hidden = false;
  }
  plan();
}

function plan() {
  const everyMs = Number(document.getElementById("figures").dataset.everyS) * 1000;
  setTimeout(() => (document.hidden ? plan() : look()), everyMs);
}

plan();
