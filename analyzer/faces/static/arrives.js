// The live part of the set-up and first-test pages: what arrives, asked for again every few seconds while it is seen.
import { put } from "./parts.js";

const EVERY_MS = 5000;

async function again() {
  if (!document.hidden) {
    try {
      const answer = await fetch(location.pathname, { headers: { Accept: "text/html" } });
      if (answer.ok && !answer.redirected) put(await answer.text(), document.body);
    } catch {
      // the board is away; the next turn asks again
    }
  }
  setTimeout(again, EVERY_MS);
}

setTimeout(again, EVERY_MS);
