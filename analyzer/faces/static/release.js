// The part of the board's page about another release: how much of a file is there, and what becomes
// of it, asked for again and again although the pages' own service is started anew meanwhile.

const EVERY_MS = 2000;
const AWAY = "The pages are away for a moment; this goes on by itself.";
const line = document.getElementById("release");
const form = document.getElementById("send");
let sending = false;

function say(text, busy) {
  if (line.textContent !== text) line.textContent = text;
  line.className = busy ? "fresh" : "small";
}

async function again() {
  if (!sending && !document.hidden) await look();
  setTimeout(again, EVERY_MS);
}

async function look() {
  try {
    const answer = await fetch("/set-up/release.json");
    if (!answer.ok) throw new Error(answer.status);
    const told = await answer.json();
    if (told.said && !sending) say(told.said, told.busy);
    else if (line.textContent === AWAY) location.reload();
  } catch {
    if (!sending) say(AWAY, true);
  }
}

function send(event) {
  event.preventDefault();
  const asking = new XMLHttpRequest();
  const done = (text, taken) => {
    say(text, taken);
    setTimeout(() => { sending = false; }, taken ? EVERY_MS : 0);
  };
  asking.upload.onprogress = ({ loaded, total }) =>
    say(`${(loaded / 1e6).toFixed(0)} of ${(total / 1e6).toFixed(0)} MB are here; keep this page open.`, true);
  asking.onerror = () => done("The file did not come whole: send it again.", false);
  asking.onload = () => {
    const page = new DOMParser().parseFromString(asking.responseText, "text/html");
    const answer = page.querySelector("main [role=alert], main [role=status]") ?? page.body;
    done(answer.textContent.trim(), asking.status === 200);
  };
  asking.open("POST", form.action);
  sending = true;
  asking.send(new FormData(form));
}

if (line) {
  form.addEventListener("submit", send);
  again();
}
