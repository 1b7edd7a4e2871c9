// What is folded for a phone lies open where there is room, and what an address names is unfolded.

if (matchMedia("(min-width: 60rem)").matches) {
  for (const fold of document.querySelectorAll("details[data-wide]")) fold.open = true;
}

function unfold() {
  const named = location.hash ? document.getElementById(location.hash.slice(1)) : null;
  const fold = named?.closest("details");
  if (!fold) return;
  fold.open = true;
  fold.scrollIntoView({ block: "start" });
}

// Paper has no folds.
function unfoldAll() {
  for (const fold of document.querySelectorAll("details:not(.alarm)")) fold.open = true;
}

const WAIT_MS = 15000; // a chart that takes longer is printed as it is

// Unfolds, draws what was not reached yet, then prints.
async function printAll() {
  unfoldAll();
  dispatchEvent(new Event("drawall"));
  const charts = [...document.querySelectorAll(".chart")];
  const until = Date.now() + WAIT_MS;
  while (charts.some((chart) => !chart.dataset.drawn) && Date.now() < until) {
    await new Promise((done) => setTimeout(done, 100));
  }
  print();
}

addEventListener("beforeprint", unfoldAll);
addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey || event.key.toLowerCase() !== "p") return;
  event.preventDefault();
  printAll();
});
const printer = document.getElementById("print");
if (printer) {
  printer.hidden = false;
  printer.addEventListener("click", printAll);
}
addEventListener("hashchange", unfold);
unfold();
