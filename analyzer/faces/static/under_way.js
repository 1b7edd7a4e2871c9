// The under-way page: dragging along the curve, and the live stream. Without it the page stands.
import { Drag } from "./drag.js";
import { follow } from "./live.js";
import { Tone } from "./tone.js";

const drag = new Drag(document.getElementById("speeds"));
const live = document.getElementById("live");
if (live.dataset.stream) follow(live.dataset.stream, live, () => drag.renewed());
const sound = document.getElementById("sound");
if (sound) new Tone(sound, live);
