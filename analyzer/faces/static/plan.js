// Drawing a route: a flat sea in nautical miles, north up, with where the boat is and has been.
// The places stand in the form's text field, which is what is sent; without script it is typed.
import { hold } from "./hand.js";

const SVG = "http://www.w3.org/2000/svg";
const ANGLE = String.raw`(-?\d{1,3}(?:[.,]\d+)?)\s*°?\s*(?:(\d{1,2}(?:[.,]\d+)?)\s*['′]?\s*)?([NSEWnsew])?`;
const LINE = new RegExp(String.raw`^\s*${ANGLE}\s*[,;\s]\s*${ANGLE}\s*(?:[,;:\s]\s*(\S.*))?$`);
const TAP = 8; // px that a finger may wander and still tap

const rad = (deg) => (deg * Math.PI) / 180;
const number = (text) => Number((text ?? "0").replace(",", "."));

function degrees(whole, minutes, side) {
  const size = Math.abs(number(whole)) + number(minutes) / 60;
  return whole.startsWith("-") || /[sw]/i.test(side ?? "") ? -size : size;
}

function angle(value, sides) {
  const all = Math.round(Math.abs(value) * 60000);
  const minutes = ((all % 60000) / 1000).toFixed(3).padStart(6, "0");
  return `${Math.floor(all / 60000)} ${minutes} ${sides[value < 0 ? 1 : 0]}`;
}

function read(text) {
  const found = text.split("\n").map((line) => LINE.exec(line)).filter(Boolean);
  return found.map((m) => ({
    lat: degrees(m[1], m[2], m[3]),
    lon: degrees(m[4], m[5], m[6]),
    name: m[7] ?? "",
  }));
}

function write(places) {
  return places
    .map((p) => `${angle(p.lat, "NS")}, ${angle(p.lon, "EW")} ${p.name}`.trimEnd())
    .join("\n");
}

// Degrees east, the shorter way round: -179 is two degrees east of 179.
const turn = (lon) => ((((lon + 180) % 360) + 360) % 360) - 180;

// East and north in nautical miles from one place to another, on a flat sea.
function apart(from, to) {
  return [turn(to.lon - from.lon) * 60 * Math.cos(rad(from.lat)), (to.lat - from.lat) * 60];
}

class Sea {
  constructor(box) {
    this.box = box;
    this.svg = box.querySelector("#chart");
    this.field = document.getElementById("places");
    this.said = document.getElementById("legs");
    this.places = read(this.field.value);
    const told = box.dataset;
    this.unit = { short: told.unit, long: told.unitLong, inMile: 1852 / Number(told.unitM) };
    this.near = { here: null, home: null, tracks: [] };
    this.middle = { lat: 0, lon: 0 };
    this.across = 8; // nautical miles from left to right
    this.size();
    this.cross = [this.wide / 2, this.high / 2];
    this.held = null;
    this.listen();
  }

  // A unit of the drawing is a pixel, so that words and marks are as large on any screen.
  size() {
    [this.wide, this.high] = [Math.max(this.svg.clientWidth, 200), Math.max(this.svg.clientHeight, 160)];
    this.svg.setAttribute("viewBox", `0 0 ${this.wide} ${this.high}`);
  }

  async start() {
    const answer = await fetch(this.box.dataset.near).catch(() => null);
    if (answer?.ok) this.near = await answer.json();
    this.box.hidden = false;
    this.size();
    this.fit();
    new ResizeObserver(() => {
      this.size();
      this.draw();
    }).observe(this.svg);
  }

  // Looks at the route, else at where the boat is and has been.
  fit() {
    const of = ([lat, lon]) => ({ lat, lon });
    let shown = this.places;
    if (shown.length < 2) {
      const marks = [this.near.here, this.near.home].filter(Boolean).map(of);
      shown = [...shown, ...marks, ...this.near.tracks.flat().map(of)];
    }
    if (shown.length) {
      const [lats, lons] = [shown.map((p) => p.lat), shown.map((p) => shown[0].lon + turn(p.lon - shown[0].lon))];
      const ends = (values) => [Math.min(...values), Math.max(...values)];
      const [south, north] = ends(lats);
      const [west, east] = ends(lons);
      this.middle = { lat: (south + north) / 2, lon: turn((west + east) / 2) };
      const wide = (east - west) * 60 * Math.cos(rad(this.middle.lat));
      const high = (north - south) * 60;
      this.across = Math.max(1.3 * wide, (1.3 * high * this.wide) / this.high, 2);
    }
    this.draw();
  }

  at(place) {
    const [east, north] = apart(this.middle, place);
    const each = this.wide / this.across;
    return [this.wide / 2 + east * each, this.high / 2 - north * each];
  }

  placeAt([x, y]) {
    const each = this.wide / this.across;
    const lat = this.middle.lat + (this.high / 2 - y) / each / 60;
    const lon = this.middle.lon + (x - this.wide / 2) / each / 60 / Math.cos(rad(this.middle.lat));
    return { lat, lon: turn(lon), name: "" };
  }

  pointer(event) {
    const on = new DOMPoint(event.clientX, event.clientY);
    const to = on.matrixTransform(this.svg.getScreenCTM().inverse());
    return [to.x, to.y];
  }

  listen() {
    this.svg.addEventListener("pointerdown", (event) => {
      if (!event.isPrimary) {
        this.held = null; // a second finger: no place is meant
        return;
      }
      const spot = event.target.closest("[data-spot]");
      if (spot) this.svg.setPointerCapture(event.pointerId);
      this.held = {
        spot: spot ? Number(spot.dataset.spot) : null,
        began: this.pointer(event),
        moved: false,
      };
    });
    this.svg.addEventListener("pointermove", (event) => this.drag(event));
    this.svg.addEventListener("pointerup", (event) => {
      if (this.held && !this.held.moved && this.held.spot === null) this.add(this.pointer(event));
      this.held = null;
    });
    this.svg.addEventListener("pointercancel", () => (this.held = null));
    this.svg.addEventListener("keydown", (event) => this.key(event));
    hold(this.svg, this, 0);
    const press = (id, act) => document.getElementById(id).addEventListener("click", act);
    press("undo", () => this.change(this.places.slice(0, -1)));
    press("clear", () => this.change([]));
    press("closer", () => this.zoom(1 / 1.5));
    press("wider", () => this.zoom(1.5));
    this.field.addEventListener("input", () => {
      this.places = read(this.field.value);
      this.draw();
    });
    this.field.addEventListener("change", () => this.fit());
  }

  drag(event) {
    if (!this.held) return;
    const [x, y] = this.pointer(event);
    const [dx, dy] = [x - this.held.began[0], y - this.held.began[1]];
    this.held.moved ||= Math.hypot(dx, dy) > TAP;
    if (!this.held.moved) return;
    if (this.held.spot !== null) {
      const moved = { ...this.placeAt([x, y]), name: this.places[this.held.spot].name };
      this.change(this.places.map((p, k) => (k === this.held.spot ? moved : p)));
      return;
    }
  }

  // The water under a mouse, or under two fingers; shares of what is seen.
  move(by, up) {
    if (this.held?.spot != null) return;
    const east = by * this.across;
    const north = ((up * this.high) / this.wide) * this.across;
    this.middle = {
      lat: this.middle.lat + north / 60,
      lon: turn(this.middle.lon + east / 60 / Math.cos(rad(this.middle.lat))),
    };
    this.draw();
  }

  key(event) {
    const step = 16;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    if (moves[event.key]) {
      const [dx, dy] = moves[event.key];
      const [x, y] = [this.cross[0] + dx, this.cross[1] + dy];
      this.cross = [Math.min(Math.max(x, 0), this.wide), Math.min(Math.max(y, 0), this.high)];
      this.draw();
    } else if (event.key === "Enter" || event.key === " ") this.add(this.cross);
    else if (event.key === "Backspace") this.change(this.places.slice(0, -1));
    else if (event.key === "+") this.zoom(1 / 1.5);
    else if (event.key === "-") this.zoom(1.5);
    else return;
    event.preventDefault();
  }

  zoom(by) {
    this.across = Math.min(Math.max(this.across * by, 0.2), 600);
    this.draw();
  }

  add(on) {
    this.change([...this.places, this.placeAt(on)]);
  }

  change(places) {
    this.places = places;
    this.field.value = write(places);
    this.draw();
  }

  say() {
    const legs = this.places.slice(1).map((to, k) => apart(this.places[k], to));
    const miles = legs.map(([east, north]) => Math.hypot(east, north) * this.unit.inMile);
    const all = miles.reduce((sum, one) => sum + one, 0);
    const each = legs.map(([east, north], k) => {
      const course = (Math.round((Math.atan2(east, north) * 180) / Math.PI) + 360) % 360;
      return `${String(course).padStart(3, "0")}° ${miles[k].toFixed(1)} ${this.unit.short}`;
    });
    const text = legs.length ? `${all.toFixed(1)} ${this.unit.long}: ${each.join(", ")}` : "";
    if (this.said.textContent !== text) this.said.textContent = text;
  }

  draw() {
    const parts = [];
    const put = (name, given, text) => {
      const made = document.createElementNS(SVG, name);
      for (const [key, value] of Object.entries(given)) made.setAttribute(key, value);
      if (text) made.textContent = text;
      parts.push(made);
    };
    const path = (points) => `M${points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}`;
    for (const track of this.near.tracks) {
      const points = track.map(([lat, lon]) => this.at({ lat, lon }));
      if (points.length > 1) put("path", { class: "been", d: path(points) });
    }
    const mark = (place, text, shape) => {
      const [x, y] = this.at({ lat: place[0], lon: place[1] });
      put("path", { class: "place", d: shape(x, y) });
      // Above it: beside it lies the boat's own mark, since most trips end near home.
      if (text) put("text", { class: "name", x: x - 6, y: Math.max(y - 14, 14) }, text);
    };
    if (this.near.home) {
      mark(this.near.home, this.near.home[2], (x, y) => `M${x - 6} ${y + 6}h12v-7l-6 -6l-6 6z`);
    }
    if (this.near.here) {
      mark(this.near.here, "", (x, y) => `M${x} ${y - 9}l6 15h-12z`);
    }
    const spots = this.places.map((place) => this.at(place));
    if (spots.length > 1) put("path", { class: "way", d: path(spots) });
    spots.forEach(([x, y], k) => {
      put("circle", { class: k ? "spot" : "spot first", cx: x, cy: y, r: 7 });
      put("circle", { class: "reach", cx: x, cy: y, r: 18, "data-spot": k });
    });
    const [x, y] = this.cross;
    put("path", { class: "cross", d: `M${x - 10} ${y}h20M${x} ${y - 10}v20` });
    const wide = this.across * this.unit.inMile;
    const step = 10 ** Math.floor(Math.log10(wide / 3));
    const bar = [5, 2, 1].map((k) => k * step).find((k) => k <= wide / 3);
    const long = (bar / wide) * this.wide;
    put("path", { class: "rule-bar", d: `M12 ${this.high - 14}h${long.toFixed(1)}` });
    put("text", { x: 12, y: this.high - 22 }, `${Number(bar.toPrecision(2))} ${this.unit.short}`);
    put("text", { x: this.wide - 18, y: 22, "text-anchor": "middle" }, "N");
    put("path", { class: "place", d: `M${this.wide - 18} 28l5 14l-5 -4l-5 4z` });
    this.svg.replaceChildren(...parts);
    this.say();
  }
}

new Sea(document.getElementById("sea")).start();
