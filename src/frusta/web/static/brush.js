"use strict";
// A closer look: drag along a frequency axis, or mark both ends with Enter; the server draws it, all charts together.
(() => {
  const LEAST = 0.03;  // of the axis: less is a slip of the hand
  const chooser = () => document.getElementById("chooser");
  let marking = null, again = null;

  const ask = (low, high) => {
    const form = chooser(), digits = (hertz) => String(Number(hertz.toPrecision(4)));
    form.elements.low_hz.value = low === null ? "" : digits(low);
    form.elements.high_hz.value = high === null ? "" : digits(high);
    form.elements.low_hz.dispatchEvent(new Event("change", { bubbles: true }));
  };
  const frameOf = (plot) => {
    const figure = plot.closest("figure"), data = JSON.parse(document.getElementById(figure.dataset.curves).textContent);
    return data.frames[[...figure.querySelectorAll(".plot")].indexOf(plot)];
  };
  const hertz = (frame, share) => Math.exp(Math.log(frame.x[0]) + share * Math.log(frame.x[1] / frame.x[0]));
  const say = (text) => { const told = document.getElementById("brush-says"); if (told) told.textContent = text; };
  const spoken = (value) => (value >= 999.5 ? `${Number((value / 1000).toPrecision(3))}\u00a0kHz` : `${Number(value.toPrecision(3))}\u00a0Hz`);

  // what is marked so far, on the chart
  const begin = (plot, share) => {
    drop();
    const svg = plot.querySelector("svg"), frame = frameOf(plot), scale = svg.clientWidth / svg.viewBox.baseVal.width;
    const band = document.createElement("div");
    band.className = "brush";
    band.style.top = frame.top * scale + "px";
    band.style.height = frame.height * scale + "px";
    plot.append(band);
    marking = { plot, frame, scale, band, begun: share, now: share, before: document.getElementById("brush-says").textContent };
    reach(share);
  };
  const reach = (share) => {
    const { frame, scale, band, begun } = marking;
    marking.now = share;
    band.style.left = (frame.left + Math.min(begun, share) * frame.width) * scale + "px";
    band.style.width = Math.max(2, Math.abs(share - begun) * frame.width * scale) + "px";
  };
  const drop = () => {
    if (!marking) return;
    marking.band.remove();
    say(marking.before);
    marking = null;
  };
  const finish = () => {
    const { frame, begun, now } = marking;
    drop();
    if (Math.abs(now - begun) > LEAST) ask(hertz(frame, Math.min(begun, now)), hertz(frame, Math.max(begun, now)));
  };

  document.addEventListener("click", (event) => {
    if (!event.target.closest("[data-whole]")) return;
    again = "response";
    ask(null, null);
  });
  const shareAt = (plot, frame, x) => {
    const svg = plot.querySelector("svg"), scale = svg.clientWidth / svg.viewBox.baseVal.width;
    return Math.min(1, Math.max(0, ((x - svg.getBoundingClientRect().left) / scale - frame.left) / frame.width));
  };
  document.addEventListener("pointerdown", (event) => {
    const plot = event.target.closest("figure[data-brush] .plot");
    if (!plot || event.button !== 0) return;
    begin(plot, shareAt(plot, frameOf(plot), event.clientX));
    const move = (e) => { if (marking) reach(shareAt(plot, marking.frame, e.clientX)); };
    const end = (e) => {
      document.removeEventListener("pointermove", move);
      document.removeEventListener("pointerup", end);
      document.removeEventListener("pointercancel", end);
      if (!marking) return;
      if (e.type === "pointerup") { move(e); finish(); } else drop();
    };
    document.addEventListener("pointermove", move);
    document.addEventListener("pointerup", end);
    document.addEventListener("pointercancel", end);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") { drop(); return; }
    const plot = event.target.closest("figure[data-brush] .plot");
    if (!plot || event.ctrlKey || event.altKey || event.metaKey) return;
    const share = Number(plot.dataset.share);
    if (event.key === "Enter") {
      event.preventDefault();
      if (!marking || marking.plot !== plot) {
        begin(plot, share);
        say(`From ${spoken(hertz(marking.frame, share))}. Step to the other end and press Enter; Esc drops it.`);
        return;
      }
      again = plot.closest("figure").dataset.curves.replace(/-values$/, "");
      finish();
    } else if (marking && marking.plot === plot) reach(share);
  });
  // who works by keyboard stays at the same chart
  document.addEventListener("frusta-drawn", () => {
    if (!again) return;
    const plot = [...document.querySelectorAll(`figure[data-curves="${again}-values"] .plot`)].find((p) => p.clientWidth);
    again = null;
    if (plot) { plot.tabIndex = 0; plot.focus({ preventScroll: true }); }
  });
})();
