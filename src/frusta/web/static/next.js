"use strict";
// Sliders and their numbers move together. After a short rest a quick look is drawn, then the full forecast in its place.
(() => {
  const REST_MS = 40, PATIENCE_MS = 300;
  const wish = () => document.getElementById("wish"), place = () => document.getElementById("forecast");
  let resting = 0, asking = null;

  const number = (text) => (/^[\u2212-]?[\d.]*,\d+$/.test(text.trim()) ? text.replace(",", ".") : text).replace("\u2212", "-");
  const question = (quick) => {
    const told = new URLSearchParams();
    for (const [name, value] of new FormData(wish())) told.append(name, number(value));
    if (quick) { told.append("quick", "yes"); if (innerWidth <= 900) told.append("slim", "yes"); }
    return `${page.base}/next/forecast?${told}`;
  };
  const draw = (html) => {
    const fresh = new DOMParser().parseFromString(html, "text/html");
    const says = fresh.getElementById("says");
    if (says) { says.removeAttribute("hx-swap-oob"); document.getElementById("says").replaceWith(says); }
    const field = place(), active = document.activeElement;
    const plots = [...field.querySelectorAll(".plot")], at = plots.indexOf(active);
    const key = field.contains(active) && active.dataset.key;
    const open = [...field.querySelectorAll("details[open]")].map((d) => d.id);
    field.replaceChildren(...fresh.body.childNodes);
    for (const id of open) { const d = id && document.getElementById(id); if (d) d.open = true; }
    document.dispatchEvent(new CustomEvent("frusta-drawn"));
    const again = at >= 0 ? field.querySelectorAll(".plot")[at] : key ? field.querySelector(`[data-key="${key}"]`) : null;
    if (again) again.focus({ preventScroll: true });
  };
  const ask = async () => {
    if (asking) asking.abort();
    const mine = asking = new AbortController();
    place().dataset.working = "yes";
    const late = setTimeout(() => { const told = document.getElementById("waiting"); if (told && !mine.signal.aborted) told.textContent = "Working it out."; }, PATIENCE_MS);
    for (const quick of [true, false]) {
      let answer, text;
      try {
        answer = await fetch(question(quick), { signal: mine.signal });
        text = await answer.text();
      } catch (_) { clearTimeout(late); if (!mine.signal.aborted) { delete place().dataset.working; page.offline(); } return; }
      clearTimeout(late);
      if (mine.signal.aborted) return;
      if (answer.status === 204) continue;
      if (!answer.ok) { delete place().dataset.working; page.refuse(text); return; }
      draw(text);
    }
    place().dataset.loads = "done";
    delete place().dataset.working;
  };
  const soon = () => { clearTimeout(resting); resting = setTimeout(ask, REST_MS); };

  document.addEventListener("input", (event) => {
    const form = event.target.closest("#wish");
    if (!form) return;
    const slider = event.target.closest("input[type=range]");
    if (slider) document.getElementById(slider.dataset.for).value = slider.value;
    const slid = form.querySelector(`[data-for="${event.target.id}"]`);
    if (slid) slid.value = number(event.target.value);
    if (event.target.id !== "base") soon();
  });
  document.addEventListener("change", (event) => {
    if (event.target.id !== "base") return;
    const group = document.getElementById("group").value;
    location.assign(`${page.base}/next?base=${encodeURIComponent(event.target.value)}&group=${encodeURIComponent(group)}`);
  });
  document.addEventListener("submit", (event) => { if (event.target.id === "wish") { event.preventDefault(); soon(); } });
  const begin = () => { if (wish() && place() && place().dataset.loads === "") { place().dataset.loads = "begun"; ask(); } };
  document.addEventListener("frusta-drawn", begin);
  begin();
})();
