// The live stream: puts new parts of the page in place, and says clearly when it has gone quiet.
import { Herald } from "./herald.js";
import { put } from "./parts.js";

const QUIET_MS = 5000;
const AGAIN_MS = 20000; // a line that says nothing for so long is opened anew

// How long ago, as the server says it.
function ago(seconds) {
  if (seconds < 5) return "just now";
  if (seconds < 90) return `${Math.round(seconds)} s ago`;
  const minutes = Math.round(seconds / 60);
  if (minutes >= 6000) return `${Math.round(minutes / 1440)} days ago`;
  const [hours, rest] = [Math.floor(minutes / 60), minutes % 60];
  if (!hours) return `${rest} min ago`;
  if (hours >= 10) return `${Math.round(minutes / 60)} h ago`;
  return `${hours} h${rest ? ` ${String(rest).padStart(2, "0")} min` : ""} ago`;
}

export function follow(url, place, renewed) {
  const stale = document.getElementById("stale");
  const age = document.getElementById("age");
  const herald = new Herald(document.getElementById("said"), place);
  let source = null;
  let heard = Date.now();
  let opened = 0;
  let told = null;
  let born = null; // when the newest data came about, on this phone's clock
  let trouble = "";

  const aged = (text) => text.replace("{age}", ago((Date.now() - (born ?? Date.now())) / 1000));
  const write = (into, text) => into.textContent !== text && (into.textContent = text);

  function say() {
    const quiet = Date.now() - heard;
    const lost = quiet > QUIET_MS && `Not live: nothing heard from the board for ${Math.round(quiet / 1000)} s.`;
    if (told) write(age, aged(told.moment));
    if (!told && !lost && !trouble) return; // what the page came with stands
    write(stale, lost || trouble || aged(told?.stale ?? ""));
    stale.hidden = !stale.textContent;
    document.body.classList.toggle("not-now", Boolean(lost || trouble || told?.hollow));
    const old = lost ? "Not live: the board is not heard." : trouble || (told?.stale ? "These data are not of now." : "");
    herald.state(old);
  }

  function take(message) {
    heard = Date.now();
    const news = JSON.parse(message.data);
    trouble = news.trouble ?? "";
    if (news.moment) {
      told = news;
      born = news.age_s === null ? null : heard - news.age_s * 1000;
    }
    if (news.html && put(news.html, place)) renewed();
    if (news.html) herald.flags();
    if (news.look && document.documentElement.dataset.chosen === "sun") {
      document.documentElement.dataset.look = news.look;
    }
    say();
  }

  function connect() {
    source?.close();
    opened = Date.now();
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
    const silent = Date.now() - Math.max(heard, opened);
    if (silent > AGAIN_MS || (source.readyState === EventSource.CLOSED && silent > QUIET_MS)) connect();
  }, 1000);
  document.addEventListener("visibilitychange", wake);
  addEventListener("online", wake);
  addEventListener("pageshow", (event) => event.persisted && wake());
  addEventListener("pagehide", () => source.close());
}
