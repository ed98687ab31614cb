"use strict";
// Drag along the frequency axis for a closer look; the server draws it.
(() => {
  const chooser = () => document.getElementById("chooser");
  const ask = (low, high) => {
    const form = chooser();
    for (const [name, value] of [["low_hz", low], ["high_hz", high]]) {
      const field = form.elements[name];
      field.disabled = value === null;
      field.value = value === null ? "" : value;
    }
    htmx.trigger(form, "change");
  };
  document.addEventListener("click", (event) => { if (event.target.closest("[data-whole]")) ask(null, null); });
  document.addEventListener("pointerdown", (event) => {
    const plot = event.target.closest("figure[data-brush] .plot");
    if (!plot || event.button !== 0) return;
    const figure = plot.closest("figure");
    const data = JSON.parse(document.getElementById(figure.dataset.curves).textContent);
    const frame = data.frames[[...figure.querySelectorAll(".plot")].indexOf(plot)];
    const svg = plot.querySelector("svg");
    const scale = svg.clientWidth / svg.viewBox.baseVal.width, left = svg.getBoundingClientRect().left;
    const share = (x) => Math.min(1, Math.max(0, ((x - left) / scale - frame.left) / frame.width));
    const hertz = (s) => Math.exp(Math.log(frame.x[0]) + s * Math.log(frame.x[1] / frame.x[0]));
    const begun = share(event.clientX);
    const band = document.createElement("div");
    band.className = "brush";
    band.style.top = frame.top * scale + "px";
    band.style.height = frame.height * scale + "px";
    plot.append(band);
    const move = (e) => {
      const now = share(e.clientX);
      band.style.left = (frame.left + Math.min(begun, now) * frame.width) * scale + "px";
      band.style.width = Math.abs(now - begun) * frame.width * scale + "px";
    };
    const up = (e) => {
      document.removeEventListener("pointermove", move);
      band.remove();
      const now = share(e.clientX);
      if (Math.abs(now - begun) > 0.03) ask(hertz(Math.min(begun, now)), hertz(Math.max(begun, now)));
    };
    document.addEventListener("pointermove", move);
    document.addEventListener("pointerup", up, { once: true });
  });
})();
