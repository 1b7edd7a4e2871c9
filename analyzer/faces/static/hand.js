// A hand on a chart. One finger scrolls the page, as everywhere; two fingers move and stretch the
// chart; a mouse drags it; the wheel with Ctrl stretches it; and buttons do the same for all others.

const LEFT = 52; // px from the chart's left edge to its frame, as the drawing has it
const RIGHT = 10;
const STEP = 0.5; // of what is seen, for a press of a button
const CLOSER = 0.6;

// Where on what is seen, 0 to 1; edge: how much of the frame's own edges to leave out.
const share = (place, x, edge) => {
  const box = place.getBoundingClientRect();
  return (x - box.left - edge * LEFT) / Math.max(box.width - edge * (LEFT + RIGHT), 1);
};

// A stretch of time that stays within what was recorded.
export class Times {
  constructor(range) {
    this.range = range;
    this.ends = range.bounds ?? [range.start, range.end];
    this.least = range.min_interval ?? 1;
  }

  show(start, width) {
    const [first, last] = this.ends;
    const wide = Math.min(Math.max(width, this.least), last - first);
    const from = Math.min(Math.max(start, first), last - wide);
    this.range.setv({ start: from, end: from + wide });
  }

  move(by) {
    const width = this.range.end - this.range.start;
    this.show(this.range.start + by * width, width);
  }

  zoom(by, at = 0.5) {
    const width = this.range.end - this.range.start;
    this.show(this.range.start + at * width * (1 - by), width * by);
  }

  whole() {
    this.show(this.ends[0], this.ends[1] - this.ends[0]);
  }
}

// A map: both ways alike, so that a mile stays a mile.
export class Plane {
  constructor(figure) {
    this.axes = [figure.x_range, figure.y_range];
    this.first = null;
  }

  set(change) {
    this.first ??= this.axes.map((axis) => ({ start: axis.start, end: axis.end }));
    for (const [k, axis] of this.axes.entries()) {
      axis.have_updated_interactively = true; // else it is fitted to the data again
      axis.setv(change(axis, k));
    }
  }

  move(by, up = 0) {
    this.set((axis, k) => {
      const shift = (axis.end - axis.start) * (k ? up : by);
      return { start: axis.start + shift, end: axis.end + shift };
    });
  }

  zoom(by) {
    this.set((axis) => {
      const middle = (axis.start + axis.end) / 2;
      const half = ((axis.end - axis.start) / 2) * by;
      return { start: middle - half, end: middle + half };
    });
  }

  whole() {
    if (this.first) this.set((axis, k) => this.first[k]);
  }
}

// The buttons above a chart; they work once it is drawn.
export function strip(place) {
  const row = document.createElement("p");
  row.className = "chart-acts";
  const acts = [
    ["◂", "Earlier, or further west", (view) => view.move(-STEP)],
    ["▸", "Later, or further east", (view) => view.move(STEP)],
    ["+", "Closer", (view) => view.zoom(CLOSER)],
    ["−", "Wider", (view) => view.zoom(1 / CLOSER)],
    ["All", "All of it", (view) => view.whole()],
  ];
  for (const [text, name, act] of acts) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = text;
    button.setAttribute("aria-label", `${name}: ${place.getAttribute("aria-label")}`);
    button.addEventListener("click", () => place.view && act(place.view));
    row.append(button);
  }
  place.before(row);
}

// Fingers and mouse. view: `move(by, up)` and `zoom(by, at)`; edge: 0 where nothing frames it.
export function hold(place, view, edge = 1) {
  place.view = view;
  const held = new Map();
  const middle = () => [...held.values()].reduce(([x, y], p) => [x + p[0] / held.size, y + p[1] / held.size], [0, 0]);
  const apart = () => {
    const [a, b] = [...held.values()];
    return b ? Math.hypot(a[0] - b[0], a[1] - b[1]) : 0;
  };
  place.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "mouse" && event.button !== 0) return;
    held.set(event.pointerId, [event.clientX, event.clientY]);
  });
  addEventListener("pointermove", (event) => {
    if (!held.has(event.pointerId)) return;
    const [before, wide] = [middle(), apart()];
    held.set(event.pointerId, [event.clientX, event.clientY]);
    if (held.size < 2 && event.pointerType !== "mouse") return; // the page's own
    const [now, wider] = [middle(), apart()];
    const box = place.getBoundingClientRect();
    if (wide && wider) view.zoom(wide / wider, share(place, now[0], edge));
    view.move(share(place, before[0], edge) - share(place, now[0], edge), (now[1] - before[1]) / box.height);
  });
  for (const end of ["pointerup", "pointercancel"]) addEventListener(end, (event) => held.delete(event.pointerId));
  place.addEventListener(
    "wheel",
    (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      view.zoom(event.deltaY > 0 ? 1.2 : 1 / 1.2, share(place, event.clientX, edge));
    },
    { passive: false },
  );
}
