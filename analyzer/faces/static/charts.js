// Fetches the charts of the page's trip and hands them to the charts' library.
"use strict";

function night() {
  const look = document.documentElement.dataset.look;
  if (look !== "auto") return look;
  return matchMedia("(prefers-color-scheme: dark)").matches ? "night" : "day";
}

async function draw(place) {
  const answer = await fetch(`${place.dataset.item}?look=${night()}`);
  if (!answer.ok) {
    place.textContent = "The charts could not be fetched; load the page again.";
    return;
  }
  const item = await answer.json();
  place.textContent = "";
  await Bokeh.embed.embed_item(item, place.id);
  place.dataset.drawn = "yes";
}

document.addEventListener("DOMContentLoaded", () => {
  const place = document.getElementById("charts");
  if (place) draw(place);
});
