// Dragging along the curve: what another speed would buy. The figures come with the page.
"use strict";

const NMI = 1852;

function start(drag) {
  const points = JSON.parse(drag.dataset.points);
  const slider = document.getElementById("speed");
  const said = document.getElementById("bought");
  const curve = document.getElementById("curve");
  const pick = document.getElementById("pick");
  const now = points[Number(drag.dataset.now)];

  function bought(point) {
    const more = (point.reach_m - now.reach_m) / NMI;
    const size = Math.abs(more) < 9.95 ? Math.abs(more).toFixed(1) : Math.abs(more).toFixed(0);
    if (point === now || Number(size) === 0) return "";
    return ` ${size} nmi ${more > 0 ? "further" : "less"} than at ${now.speed}.`;
  }

  function show() {
    const point = points[Number(slider.value)];
    const text = `At ${point.speed}: ${point.band}, for ${point.lasts}.${bought(point)}`;
    said.textContent = text;
    slider.setAttribute("aria-valuetext", text);
    pick.toggleAttribute("hidden", point === now);
    pick.setAttribute("transform", `translate(${point.x} 0)`);
    pick.querySelector("circle").setAttribute("cy", point.y);
  }

  function choose(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(curve.getScreenCTM().inverse());
    const far = points.map((point) => Math.abs(point.x - at.x));
    slider.value = far.indexOf(Math.min(...far));
    show();
  }

  curve.addEventListener("pointerdown", (event) => {
    curve.setPointerCapture(event.pointerId);
    choose(event);
  });
  curve.addEventListener("pointermove", (event) => {
    if (curve.hasPointerCapture(event.pointerId)) choose(event);
  });
  slider.addEventListener("input", show);
  drag.hidden = false;
  show();
}

const drag = document.getElementById("drag");
if (drag) start(drag);
