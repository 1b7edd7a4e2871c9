// A tone for flags that nobody has seen yet, where somebody asked for it: a page may sound only
// after it was touched. A warning sounds once; act now sounds until it is seen or over.

const TONES = { warning: [660, 0, 660], "act now": [880, 660, 880, 660, 880, 660] };
const STEP_S = 0.18;
const AGAIN_MS = 8000;
const CHOSEN = "keelwatt-tone";
const SETTLE_MS = 60000; // the stream may still show a flag as it was before it was seen

// A flag that has become worse is another one to be heard.
const named = (flag) => `${flag.id} ${flag.dataset.level}`;

export class Tone {
  constructor(button, place) {
    this.button = button;
    this.place = place;
    this.context = null;
    this.told = new Set();
    this.last = 0;
    button.hidden = !("AudioContext" in window);
    button.addEventListener("click", () => this.choose(!this.on));
    if (localStorage.getItem(CHOSEN)) {
      // Chosen before: any touch of the page lets it sound again.
      button.textContent = "Tone: touch";
      button.setAttribute("aria-label", "Touch to sound a tone for flags again");
      const again = (event) => event.target !== button && this.choose(true);
      document.addEventListener("pointerdown", again, { once: true });
    }
    place.addEventListener("submit", (event) => {
      const number = /\/flag\/(\d+)\/seen/.exec(event.target.action)?.[1];
      const flag = number && document.getElementById(`flag-${number}`);
      if (flag) sessionStorage.setItem(named(flag), String(Date.now()));
    });
    setInterval(() => this.look(), 1000);
  }

  get on() {
    return this.button.getAttribute("aria-pressed") === "true";
  }

  async choose(on) {
    this.button.setAttribute("aria-pressed", String(on));
    this.button.textContent = on ? "Tone: on" : "Tone: off";
    this.button.setAttribute("aria-label", "Tone for flags");
    if (on) localStorage.setItem(CHOSEN, "1");
    else localStorage.removeItem(CHOSEN);
    if (!on) return;
    this.context ??= new AudioContext();
    await this.context.resume();
    this.play([660]); // so that one hears how loud it is
    this.last = 0;
    this.look();
  }

  look() {
    if (!this.on || !this.context) return;
    const justSeen = (flag) => Date.now() - (sessionStorage.getItem(named(flag)) ?? 0) < SETTLE_MS;
    const marked = [...this.place.querySelectorAll("details[data-unseen]")];
    const unseen = marked.filter((flag) => !justSeen(flag));
    const fresh = (flag) => !this.told.has(named(flag));
    const urgent = unseen.some((flag) => flag.dataset.level === "act now");
    const due = Date.now() - this.last >= AGAIN_MS;
    const news = unseen.filter((flag) => TONES[flag.dataset.level] && fresh(flag));
    if (news.length || (urgent && due)) {
      this.play(TONES[urgent ? "act now" : "warning"]);
      this.last = Date.now();
    }
    for (const flag of news) this.told.add(named(flag));
  }

  play(pitches) {
    let at = this.context.currentTime + 0.05;
    for (const pitch of pitches) {
      if (pitch) this.beep(pitch, at);
      at += STEP_S;
    }
  }

  beep(pitch, at) {
    const tone = this.context.createOscillator();
    const loud = this.context.createGain();
    tone.frequency.value = pitch;
    loud.gain.setValueAtTime(0, at);
    loud.gain.linearRampToValueAtTime(0.6, at + 0.01); // no click at either end
    loud.gain.setValueAtTime(0.6, at + STEP_S - 0.03);
    loud.gain.linearRampToValueAtTime(0, at + STEP_S - 0.01);
    tone.connect(loud).connect(this.context.destination);
    tone.start(at);
    tone.stop(at + STEP_S);
  }
}
