// The under-way page: dragging along the curve, and the live stream. Without it the page stands.
import { Drag } from "./drag.js";
import { follow } from "./live.js";
import { Tone } from "./tone.js";

const drag = new Drag(document.getElementById("speeds"));
const live = document.getElementById("live");
if (live.dataset.stream) follow(live.dataset.stream, live, () => drag.renewed());
// A flag is said to have been seen without leaving the place; the stream then shows it.
live.addEventListener("submit", async (event) => {
  if (!event.target.matches("form.seen")) return;
  event.preventDefault();
  const button = event.target.querySelector("button");
  button.disabled = true;
  const answer = await fetch(event.target.action, { method: "POST", redirect: "manual" }).catch(() => null);
  const done = answer?.type === "opaqueredirect";
  if (answer?.status === 403) button.textContent = "This phone may look only";
  else button.textContent = done ? "Seen" : "Not heard: again";
  button.disabled = done;
});
const sound = document.getElementById("sound");
if (sound) new Tone(sound, live);
