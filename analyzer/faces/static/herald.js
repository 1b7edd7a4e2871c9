// What a screen reader hears by itself: a flag that is new, and that data are old or fresh again;
// each once. The figures and the ticking age are read where they stand.

export class Herald {
  constructor(voice, place) {
    this.voice = voice;
    this.place = place;
    this.known = new Set(this.standing().map(([key]) => key));
    this.last = "";
  }

  standing() {
    return [...this.place.querySelectorAll("#flags details[data-unseen]")].map((flag) => [
      `${flag.id} ${flag.dataset.level}`, // one that got worse is another one
      `${flag.dataset.level}: ${flag.querySelector("summary b").textContent}`,
    ]);
  }

  flags() {
    const fresh = this.standing().filter(([key]) => !this.known.has(key));
    for (const [key] of fresh) this.known.add(key);
    if (fresh.length) this.say(fresh.map(([, text]) => text).join(" "));
  }

  state(text) {
    if (text === this.last) return;
    const over = this.last && !text;
    this.last = text;
    this.say(over ? "Live again." : text);
  }

  say(text) {
    this.voice.textContent = text;
  }
}
