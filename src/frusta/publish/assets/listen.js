"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const at = (id) => document.getElementById(id);
  const context = new (window.AudioContext || window.webkitAudioContext)();
  const master = context.createGain();
  master.connect(context.destination);
  const FADE_S = 0.02;
  let sounds = null, gains = {}, sources = [];
  let hidden = draw(), trial = 0, right = 0, heard = false;

  function draw() { return crypto.getRandomValues(new Uint8Array(1))[0] & 1 ? "a" : "b"; }

  function bytes(text) { return Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer; }

  async function load() {
    if (!sounds) {
      sounds = { a: await context.decodeAudioData(bytes(data.a)), b: await context.decodeAudioData(bytes(data.b)) };
    }
  }

  function begin() {
    for (const name of ["a", "b"]) {
      const source = context.createBufferSource(), gain = context.createGain();
      source.buffer = sounds[name];
      source.loop = true;
      gain.gain.value = 0;
      source.connect(gain).connect(master);
      gains[name] = gain;
      sources.push(source);
    }
    const when = context.currentTime + 0.05;
    sources.forEach((source) => source.start(when));
  }

  async function play(which) {
    if (trial >= data.trials && which === "x") return;
    await context.resume();
    await load();
    if (!sources.length) begin();
    const real = which === "x" ? hidden : which;
    for (const name of ["a", "b"]) {
      gains[name].gain.setTargetAtTime(name === real ? 1 : 0, context.currentTime, FADE_S / 3);
    }
    if (which === "x" && trial < data.trials) { heard = true; }
    show(which);
  }

  function stop() {
    sources.forEach((source) => source.stop());
    sources = [];
    show("");
  }

  function answer(name) {
    if (!heard || trial >= data.trials) return;
    stop();
    right += name === hidden ? 1 : 0;
    trial += 1;
    hidden = draw();
    heard = false;
    if (trial >= data.trials) { at("verdict").textContent = data.verdicts[right]; }
    show("");
  }

  function again() {
    trial = right = 0;
    hidden = draw();
    heard = false;
    at("verdict").textContent = "";
    show("");
  }

  function show(playing) {
    const over = trial >= data.trials;
    for (const name of ["a", "b", "x"]) { at("play-" + name).setAttribute("aria-pressed", String(name === playing)); }
    at("is-a").disabled = at("is-b").disabled = over || !heard;
    at("play-x").disabled = over;
    at("again").hidden = !over;
    at("count").textContent = over ? "Done" : `${trial + 1} of ${data.trials}`;
  }

  function volume() { master.gain.value = (Number(at("volume").value) / 100) ** 2; }

  for (const name of ["a", "b", "x"]) { at("play-" + name).addEventListener("click", () => play(name)); }
  for (const name of ["a", "b"]) { at("is-" + name).addEventListener("click", () => answer(name)); }
  at("stop").addEventListener("click", stop);
  at("again").addEventListener("click", again);
  at("volume").addEventListener("input", volume);
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const does = { a: () => play("a"), b: () => play("b"), x: () => play("x"), " ": stop,
      1: () => answer("a"), 2: () => answer("b") }[event.key.toLowerCase()];
    if (does) { event.preventDefault(); does(); }
  });
  volume();
  show("");
})();
