// The live stream: puts new parts of the page in place, and says clearly when it has gone quiet.
import { put } from "./parts.js";

const QUIET_MS = 5000;

export function follow(url, place, renewed) {
  const stale = document.getElementById("stale");
  let source = null;
  let heard = Date.now();
  let dataStale = stale.textContent.trim();
  let hollow = document.body.classList.contains("not-now");
  let trouble = "";

  function say() {
    const quiet = Date.now() - heard;
    const age = Math.round(quiet / 1000);
    const text =
      quiet > QUIET_MS ? `Not live: nothing heard from the board for ${age} s.` : trouble || dataStale;
    if (stale.textContent !== text) stale.textContent = text;
    stale.hidden = !text;
    document.body.classList.toggle("not-now", quiet > QUIET_MS || Boolean(trouble) || hollow);
  }

  function take(message) {
    heard = Date.now();
    const told = JSON.parse(message.data);
    trouble = told.trouble ?? "";
    if (told.html && put(told.html, place)) renewed();
    if (told.moment) document.getElementById("age").textContent = told.moment;
    if (told.look && document.documentElement.dataset.chosen === "sun") {
      document.documentElement.dataset.look = told.look;
    }
    dataStale = told.stale ?? dataStale;
    hollow = told.hollow === undefined ? hollow : Boolean(told.hollow);
    say();
  }

  function connect() {
    source?.close();
    source = new EventSource(url);
    source.addEventListener("message", take);
  }

  // A phone that slept may hold a connection that is dead without knowing it.
  function wake() {
    if (document.hidden) return;
    say();
    if (Date.now() - heard > QUIET_MS || source.readyState === EventSource.CLOSED) connect();
  }

  connect();
  setInterval(() => {
    say();
    if (source.readyState === EventSource.CLOSED || Date.now() - heard > 4 * QUIET_MS) {
      heard = Math.max(heard, Date.now() - 3 * QUIET_MS); // try again in a while
      connect();
    }
  }, 1000);
  document.addEventListener("visibilitychange", wake);
  addEventListener("online", wake);
  addEventListener("pageshow", (event) => event.persisted && wake());
  addEventListener("pagehide", () => source.close());
}
