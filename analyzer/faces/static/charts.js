// Fetches the charts of the page's trip and hands them to the charts' library.
"use strict";

async function draw(place) {
  const answer = await fetch(`${place.dataset.item}?look=${document.documentElement.dataset.look}`);
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
