"use strict";
// The bench: the server holds the state, this shows it. One EventSource feeds meter, progress and every change of step.
(() => {
  const silent = document.getElementById("silent");
  const byId = (id) => document.getElementById(id);
  const bench = () => byId("bench");
  let heard = performance.now(), swapping = false, waiting = null, said = 0, quiet = false;

  const minus = (text) => text.replace("-", "\u2212");
  const write = (id, text) => { const e = byId(id); if (e && e.textContent !== text) e.textContent = text; };

  // a step is drawn once: what is being typed in it outlives late news of the same step; a form that is drawn anew
  // keeps what was typed, what was opened and the caret
  const draw = async (event) => {
    if (swapping) { if (event) waiting = event; return; }
    swapping = true;
    const answer = await fetch(page.base + "/bench", { headers: { accept: "text/html" } }).catch(() => null);
    if (answer && answer.ok) {
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const next = fresh.getElementById("bench");
      if (event || next.dataset.number !== bench().dataset.number || next.dataset.stage !== bench().dataset.stage) {
        const form = ["empty", "begin"].includes(next.dataset.stage) && next.dataset.stage === bench().dataset.stage;
        const kept = form ? page.keep() : null;
        bench().replaceWith(next);
        document.querySelector(".who").replaceWith(fresh.querySelector(".who"));
        if (kept) page.restore(kept); else settled();
      }
    }
    swapping = false;
    if (waiting) { const late = waiting; waiting = null; await draw(late); }
  };

  // the take at hand over the seating before: read beside the verdict, which does not wait for it
  const picture = async () => {
    const place = byId("verdict-picture");
    if (!place) return;
    const answer = await fetch(page.base + "/bench/verdict").catch(() => null);
    if (!answer || !answer.ok || !place.isConnected) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    place.replaceChildren(...fresh.body.childNodes);
    document.dispatchEvent(new CustomEvent("frusta-drawn"));
  };

  const settled = () => {
    const field = bench(), stage = field.dataset.stage;
    picture();
    if (location.hash !== "#" + stage) history.replaceState(null, "", "#" + stage);
    // where a step wants one thing typed, there is the caret; else the heading has the focus, and Tab goes on from it
    const entry = field.querySelector("[data-first]");
    const head = field.querySelector("h1");
    if (entry) { entry.focus(); entry.select(); } else if (head) head.focus({ preventScroll: true });
    const seen = head ? head.getBoundingClientRect() : null;
    if (seen && (seen.top < 0 || seen.bottom > innerHeight)) head.scrollIntoView({ block: "center", behavior: "instant" });
  };

  const level = (live) => {
    const now = byId("lv-now"), fill = byId("lv-fill");
    if (!now) return;
    const slow = performance.now() - said > 450 || !said;
    if (live.sound !== "noise" || live.level_db === undefined) {
      if (slow) { write("lv-order", "The noise begins, quietly."); said = performance.now(); }
      return;
    }
    if (live.deficit_db === null) {
      const x = Math.min(900, Math.max(0, 600 * Math.min(1, live.steady_s / 2)));
      fill.setAttribute("width", x); now.setAttribute("x", Math.max(0, x - 3));
      if (slow) { write("lv", minus(live.level_db.toFixed(1))); write("lv-unit", live.relative ? "dB, relative" : "dB"); write("lv-order", live.steady_s > 0.2 ? "Steady. Hold it." : "Hold still."); said = performance.now(); }
      return;
    }
    const x = Math.min(900, Math.max(0, (6 - live.deficit_db) * 100));
    fill.setAttribute("width", x); now.setAttribute("x", Math.max(0, Math.min(893, x - 3)));
    if (!slow) return;
    said = performance.now();
    const gap = Math.abs(live.deficit_db), near = gap <= live.tolerance_db;
    write("lv", gap.toFixed(1));
    write("lv-unit", near ? "dB off, on target" : live.deficit_db > 0 ? "dB too quiet" : "dB too loud");
    write("lv-order", near ? "On target. Hold it." : live.deficit_db > 0 ? (gap < 2 ? "Turn it up a little." : "Turn it up.") : gap < 2 ? "Turn it down a little." : "Turn it down.");
  };

  const sweep = (live) => {
    const bar = byId("sw-bar");
    if (!bar) return;
    if (live.sound === "countdown") {
      write("sw-order", "Hands off. The sweep starts."); write("sw-left", String(Math.max(1, Math.ceil(live.seconds_left)))); write("sw-unit", "s to go");
    } else if (live.sound === "sweep") {
      write("sw-order", "Recording. Keep quiet."); write("sw-left", String(Math.ceil(live.seconds_left))); write("sw-unit", "s left");
      const hz = live.frequency_hz;
      const place = hz >= 1000 ? (hz / 1000).toPrecision(2) + "\u00a0kHz" : Math.round(hz) + "\u00a0Hz";
      const room = live.peak_dbfs > -150 ? `Loudest so far ${Math.round(-live.peak_dbfs)}\u00a0dB under clipping.` : "";
      if (performance.now() - said > 450) { write("sw-says", `${hz ? "Now at " + place + ". " : ""}${room}`); said = performance.now(); }
    } else if (live.sound === "reading") {
      write("sw-order", "Reading the take."); write("sw-says", "It is on the disk. The verdict follows.");
    }
    byId("sw-fill").setAttribute("width", 1000 * live.progress);
    bar.setAttribute("aria-valuenow", Math.round(100 * live.progress));
  };

  const source = new EventSource(page.base + "/api/bench/events");
  source.onmessage = (event) => {
    heard = performance.now();
    if (quiet) { quiet = false; silent.hidden = true; }
    const live = JSON.parse(event.data);
    if (String(live.number) !== bench().dataset.number) { draw(); return; }
    level(live);
    sweep(live);
  };
  setInterval(() => {
    if (document.hidden || quiet || performance.now() - heard < Number(silent.dataset.afterMs) || !bench().dataset.sounding) return;
    quiet = true;
    silent.hidden = false;
    fetch(page.base + "/api/bench/stop", { method: "POST" }).catch(() => null);
  }, 250);

  const press = async (name, details) => {
    const answer = await page.call("POST", "/api/bench/press", { event: name, number: Number(bench().dataset.number), details });
    if (answer) page.say("");
    await draw();
  };
  const stop = async () => { const answer = await page.call("POST", "/api/bench/stop"); if (answer) page.say(answer.said); };

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.press) { button.disabled = true; press(button.dataset.press).finally(() => { button.disabled = false; }); }
    if (button.dataset.stop !== undefined) stop();
    if (button.dataset.gain) page.call("POST", "/api/bench/gain", { step_db: Number(button.dataset.gain) });
    if (button.dataset.automatic !== undefined) page.call("POST", "/api/bench/gain", { automatic: true });
  });
  document.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-weigh]");
    if (!form) return;
    event.preventDefault();
    const grams = Number(byId("mass").value.trim().replace(",", "."));
    if (!(grams > 0 && grams < 10000)) {
      page.complain({ what: "A mass must be a number of grams above 0.", where: `The field says “${byId("mass").value}”.`, what_to_do: "Type what the scale shows." });
      return;
    }
    press("Weighed", { mass_g: grams, column: form.dataset.weigh });
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || byId("help").open) return;
    if (event.key === "Escape" && bench().dataset.sounding) { event.preventDefault(); stop(); return; }
    if (bench().dataset.stage === "level" && (event.key === "ArrowUp" || event.key === "ArrowDown")) {
      event.preventDefault();
      page.call("POST", "/api/bench/gain", { step_db: event.key === "ArrowUp" ? 0.5 : -0.5 });
      return;
    }
    if (event.key.toLowerCase() === "u" && bench().dataset.stage === "begin" && !page.typing(event.target) && !document.querySelector('[data-key="u"]')) {
      event.preventDefault();
      page.call("POST", "/api/undo").then(page.settle);  // no sitting goes on: the last change of a table
      return;
    }
    if (event.key !== "Enter" || event.target.closest("button,a,textarea,select,input,summary")) return;
    const go = bench().querySelector("[data-enter]");
    if (go) { event.preventDefault(); go.click(); }
  });
  document.body.addEventListener("frusta-changed", draw);
  settled();
})();
