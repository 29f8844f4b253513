// The week: a visit is dragged to another day or crew; while one is being moved, arrow keys go from place to place.
// Without this file all of it is done with links and buttons.

const table = document.querySelector("table.week");
const drop = document.getElementById("drop");

// -- with a mouse ---------------------------------------------------------------------------------------------

let dragged = null;

function mark(cell) {
  for (const marked of table.querySelectorAll("td.over")) marked.classList.remove("over");
  cell?.classList.add("over");
}

function put(visit, cell) {
  for (const [name, value] of Object.entries({ ...visit.dataset, ...cell.dataset })) drop.elements[name].value = value;
  drop.submit();
}

if (drop) {
  table.addEventListener("dragstart", (event) => {
    dragged = event.target.closest("[data-visit]");
    event.dataTransfer.effectAllowed = "move";
    event.dataTransfer.setData("text/plain", dragged.dataset.visit);
  });
  table.addEventListener("dragover", (event) => {
    const cell = event.target.closest("td[data-day]");
    if (!dragged || !cell) return;
    event.preventDefault();
    mark(cell);
  });
  table.addEventListener("drop", (event) => {
    const cell = event.target.closest("td[data-day]");
    if (!dragged || !cell) return;
    event.preventDefault();
    if (cell !== dragged.closest("td")) put(dragged, cell);
  });
  table.addEventListener("dragend", () => {
    dragged = null;
    mark(null);
  });
}

// -- with the keyboard ----------------------------------------------------------------------------------------

const STEPS = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };

function placeBeside(button, [down, right]) {
  const cell = button.closest("td");
  const row = table.tBodies[0].rows[cell.parentElement.sectionRowIndex + down];
  return row?.cells[cell.cellIndex + right]?.querySelector("button.here");
}

if (document.getElementById("picked")) {
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") document.querySelector("[data-stop]").click();
    const button = event.target.closest?.("button.here");
    const step = button && STEPS[event.key];
    if (!step) return;
    event.preventDefault();
    placeBeside(button, step)?.focus();
  });
  (table.querySelector("td:has(.picked) button.here") ?? table.querySelector("button.here"))?.focus();
}
