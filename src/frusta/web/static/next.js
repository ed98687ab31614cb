"use strict";
// Sliders and their numbers move together; a base profile sets them all.
(() => {
  const form = document.getElementById("wish");
  if (!form) return;
  const waiting = document.getElementById("waiting");
  let begun = 0;
  form.addEventListener("input", (event) => {
    const slider = event.target.closest("input[type=range]");
    if (slider) document.getElementById(slider.dataset.for).value = slider.value;
    const slid = form.querySelector(`[data-for="${event.target.id}"]`);
    if (slid) slid.value = event.target.value.replace(",", ".");
  });
  document.getElementById("base").addEventListener("change", (event) => {
    const group = document.getElementById("group").value;
    location.assign(`${page.base}/next?base=${encodeURIComponent(event.target.value)}&group=${encodeURIComponent(group)}`);
  });
  form.addEventListener("htmx:configRequest", (event) => {
    for (const name of Object.keys(event.detail.parameters)) {
      const value = event.detail.parameters[name];
      if (typeof value === "string" && /^[\u2212-]?[\d.]*,[\d]+$/.test(value)) event.detail.parameters[name] = value.replace(",", ".").replace("\u2212", "-");
    }
  });
  document.addEventListener("htmx:beforeRequest", (event) => { if (event.target === form) { begun = performance.now(); setTimeout(() => { if (begun && performance.now() - begun > 280) waiting.textContent = "Working it out."; }, 300); } });
  document.addEventListener("htmx:afterRequest", (event) => { if (event.target === form) { begun = 0; waiting.textContent = ""; } });
})();
