// Fetches the page's charts and hands them to the charts' library, the first group at once, the
// others when they are reached. All keep to the same stretch of time, and where one is zoomed or
// panned its figures are fetched anew, as fine as the screen can show.
import { Plane, Times, hold, strip } from "./hand.js";

const linked = []; // the ranges of time of all charts drawn
const SETTLE_MS = 150; // a hand that has rested for so long has found its place
const MARGIN = 1; // widths fetched on either side of what is seen, so that panning meets no gap

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

function refill(range, source, place) {
  const shiftMs = Number(place.dataset.shift ?? 0); // the board's time zone
  let held = { start: range.start, end: range.end, width: range.end - range.start };
  let timer = 0;
  let newest = 0;

  async function fetchFiner() {
    const width = range.end - range.start;
    const inside = range.start >= held.start && range.end <= held.end;
    if (inside && width > held.width * 0.6 && width < held.width * 1.7) return;
    const start = range.start - MARGIN * width;
    const end = range.end + MARGIN * width;
    const mine = ++newest;
    place.dataset.busy = "yes";
    const query = `start_s=${(start - shiftMs) / 1000}&end_s=${(end - shiftMs) / 1000}`;
    const answer = await fetch(`${place.dataset.columns}?${query}`).catch(() => null);
    if (mine !== newest) return; // the hand has moved on
    delete place.dataset.busy;
    if (!answer?.ok) return; // what is drawn stays; the next move asks again
    const columns = await answer.json();
    const length = columns.t_ms.length;
    const data = {};
    for (const name of Object.keys(source.data)) {
      data[name] = Float64Array.from(columns[name] ?? new Array(length).fill(null), (v) => v ?? NaN);
    }
    held = { start, end, width };
    source.data = data;
    place.dataset.filled = String(Number(place.dataset.filled ?? 0) + 1);
  }

  const soon = () => {
    clearTimeout(timer);
    timer = setTimeout(fetchFiner, SETTLE_MS);
  };
  range.properties.start.change.connect(soon);
  range.properties.end.change.connect(soon);
}

async function draw(place) {
  const look = document.documentElement.dataset.look;
  const url = new URL(place.dataset.charts, location);
  url.searchParams.set("look", look);
  const answer = await fetch(url).catch(() => null);
  if (!answer?.ok) {
    place.textContent = "These charts could not be fetched; load the page again.";
    return;
  }
  const item = await answer.json();
  place.textContent = item ? "" : "Nothing was recorded that could be drawn.";
  if (item) {
    const views = await Bokeh.embed.embed_item(item, place.id);
    const drawn = [...views].map((view) => view.model.document);
    const named = (name) => drawn.map((one) => one.get_model_by_name(name)).find(Boolean);
    const range = named("times");
    if (range) link(range);
    const track = named("track");
    if (range) hold(place, new Times(range));
    else if (track) hold(place, new Plane(track));
    if (range && place.dataset.columns) refill(range, named("columns"), place);
  }
  place.dataset.drawn = "yes";
}

function whenReached(place) {
  const eye = new IntersectionObserver(
    (seen) => {
      if (seen.some((entry) => entry.isIntersecting)) begin();
    },
    { rootMargin: "300px" },
  );
  let begun = false;
  const begin = () => {
    if (begun) return;
    begun = true;
    eye.disconnect();
    draw(place);
  };
  eye.observe(place);
  addEventListener("drawall", begin); // for paper, where nothing is reached by scrolling
}

// Buttons that show a stretch: the last day, the last month, one trip.
function stretches() {
  for (const button of document.querySelectorAll("[data-start][data-end]")) {
    button.addEventListener("click", () => {
      const [start, end] = [Number(button.dataset.start), Number(button.dataset.end)];
      for (const range of linked.slice(0, 1)) range.setv({ start, end });
    });
  }
}

document.querySelectorAll(".chart").forEach(strip);
document.addEventListener("DOMContentLoaded", () => {
  document.querySelectorAll(".chart").forEach((place, k) => (k ? whenReached(place) : draw(place)));
  stretches();
});
