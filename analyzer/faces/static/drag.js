// Dragging along the curve: what another speed would buy. The figures come with the page.
export class Drag {
  constructor(section) {
    this.chosen = null; // speed in kn that the hand chose; null: the present one
    if (!section) return;
    this.section = section;
    this.slider = section.querySelector("#speed");
    this.said = section.querySelector("#bought");
    this.slider.addEventListener("input", () => this.choose(Number(this.slider.value)));
    // On the section: the curve itself is replaced whenever new figures come.
    section.addEventListener("pointerdown", (event) => {
      if (!event.target.closest("#curve")) return;
      section.setPointerCapture(event.pointerId);
      this.at(event);
    });
    section.addEventListener("pointermove", (event) => {
      if (section.hasPointerCapture(event.pointerId)) this.at(event);
    });
    section.querySelector("#drag").hidden = false;
    this.renewed();
  }

  // The page's figures are new: keep to the speed that the hand chose, else follow the boat.
  renewed() {
    if (!this.section) return;
    const told = this.section.querySelector("#drag").dataset;
    this.points = JSON.parse(told.points);
    this.now = this.points[Number(told.now)];
    this.unit = { name: told.unit, metres: Number(told.unitM) };
    this.slider.max = this.points.length - 1;
    const far = this.points.map((point) => Math.abs(point.kn - (this.chosen ?? this.now.kn)));
    this.slider.value = far.indexOf(Math.min(...far));
    this.show();
  }

  at(event) {
    const curve = this.section.querySelector("#curve");
    const on = new DOMPoint(event.clientX, event.clientY).matrixTransform(curve.getScreenCTM().inverse());
    const far = this.points.map((point) => Math.abs(point.x - on.x));
    this.slider.value = far.indexOf(Math.min(...far));
    this.choose(Number(this.slider.value));
  }

  choose(index) {
    const point = this.points[index];
    this.chosen = point === this.now ? null : point.kn;
    this.show();
  }

  show() {
    const point = this.points[Number(this.slider.value)];
    const text = `At ${point.speed}: ${point.band}, for ${point.lasts}.${this.bought(point)}${point.ends && ` ${point.ends}.`}`;
    if (this.said.textContent !== text) this.said.textContent = text;
    this.slider.setAttribute("aria-valuetext", text);
    const pick = this.section.querySelector("#pick");
    pick.toggleAttribute("hidden", point === this.now);
    pick.setAttribute("transform", `translate(${point.x} 0)`);
    pick.querySelector("circle").setAttribute("cy", point.y);
  }

  bought(point) {
    const more = (point.reach_m - this.now.reach_m) / this.unit.metres;
    const size = Math.abs(more) < 9.95 ? Math.abs(more).toFixed(1) : Math.abs(more).toFixed(0);
    if (point === this.now || Number(size) === 0) return "";
    return ` ${size} ${this.unit.name} ${more > 0 ? "further" : "less"} than at ${this.now.speed}.`;
  }
}
