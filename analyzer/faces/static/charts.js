// Fetches the charts of the page's trip and hands them to the charts' library, the first at once,
// the others when they are reached; all keep to the same stretch of time.
"use strict";

const linked = []; // the ranges of time of all charts drawn

function link(range) {
  const known = linked.at(0);
  linked.push(range);
  if (known) range.setv({ start: known.start, end: known.end });
  const follow = () => {
    for (const other of linked) {
      const differs = other.start !== range.start || other.end !== range.end;
      if (other !== range && differs) other.setv({ start: range.start, end: range.end });
    }
  };
  range.properties.start.change.connect(follow);
  range.properties.end.change.connect(follow);
}

async function draw(item, place) {
  place.textContent = "";
  const views = await Bokeh.embed.embed_item(item, place.id);
  const range = [...views].map((view) => view.model.document.get_model_by_name("times")).find(Boolean);
  if (range) link(range);
  place.dataset.drawn = "yes";
}

function whenReached(item, place) {
  const eye = new IntersectionObserver(
    (seen) => {
      if (!seen.some((entry) => entry.isIntersecting)) return;
      eye.disconnect();
      draw(item, place);
    },
    { rootMargin: "300px" },
  );
  eye.observe(place);
}

async function start(charts) {
  const answer = await fetch(`${charts.dataset.items}?look=${document.documentElement.dataset.look}`);
  if (!answer.ok) {
    charts.textContent = "The charts could not be fetched; load the page again.";
    return;
  }
  const items = await answer.json();
  charts.textContent = items.length ? "" : "Nothing was recorded that could be drawn.";
  items.forEach((item, k) => {
    const place = document.createElement("div");
    place.id = `chart-${k}`;
    place.className = "chart";
    charts.append(place);
    if (k === 0) draw(item, place);
    else whenReached(item, place);
  });
}

document.addEventListener("DOMContentLoaded", () => {
  const charts = document.getElementById("charts");
  if (charts) start(charts);
});
