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
addEventListener("beforeprint", () => {
  for (const fold of document.querySelectorAll("details:not(.alarm)")) fold.open = true;
});
addEventListener("hashchange", unfold);
unfold();
