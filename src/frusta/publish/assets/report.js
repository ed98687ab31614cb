"use strict";
// Reading curves off a chart by pointing or with the arrow keys. The page says everything without this.
(() => {
  const say = (value, unit) => {
    if (unit === "Hz") return value >= 999.5 ? (value / 1000).toPrecision(3) + "\u00a0kHz" : value.toPrecision(3) + "\u00a0Hz";
    const text = unit === "dB" ? value.toFixed(1) : String(Number(value.toPrecision(3)));
    return text.replace("-", "\u2212") + "\u00a0" + unit;
  };
  const nearest = (x, wanted) => {
    let low = 0, high = x.length - 1;
    while (high - low > 1) { const mid = (low + high) >> 1; if (x[mid] < wanted) low = mid; else high = mid; }
    return Math.abs(x[low] - wanted) < Math.abs(x[high] - wanted) ? low : high;
  };
  const equip = (figure) => {
    figure.dataset.read = "yes";
    const data = JSON.parse(document.getElementById(figure.dataset.curves).textContent);
    const kin = figure.closest("[data-linked]");
    const readout = document.createElement("p");
    readout.className = "readout";
    const hint = "Point at the chart, or step along it with the arrow keys, to read it.";
    readout.textContent = hint;
    let share = 0.5;
    const plots = [...figure.querySelectorAll(".plot")];
    plots[plots.length - 1].after(readout);
    plots.forEach((plot, which) => {
      const frame = data.frames[which];
      const cursor = document.createElement("div");
      cursor.className = "cursor";
      cursor.hidden = true;
      plot.append(cursor);
      plot.tabIndex = 0;
      plot.setAttribute("role", "group");
      plot.setAttribute("aria-label", "Read values with the arrow keys");
      const svg = plot.querySelector("svg");
      const show = (told) => {
        const scale = svg.clientWidth / svg.viewBox.baseVal.width;
        const [low, high] = frame.x_log ? frame.x.map(Math.log) : frame.x;
        const at = low + share * (high - low);
        const x = frame.x_log ? Math.exp(at) : at;
        cursor.hidden = false;
        plot.dataset.share = share;
        if (kin && told !== "by kin") kin.dispatchEvent(new CustomEvent("frusta-read", { detail: { figure, unit: data.units[0], x } }));
        cursor.style.left = (frame.left + share * frame.width) * scale + "px";
        cursor.style.top = frame.top * scale + "px";
        cursor.style.height = frame.height * scale + "px";
        readout.replaceChildren();
        const place = document.createElement("b");
        place.textContent = say(x, data.units[0]) + ":";
        readout.append(place);
        for (const curve of data.series) {
          if (!curve.x.length) continue;
          const k = nearest(curve.x, x), y = curve.y[k];
          const outside = x < curve.x[0] * 0.98 || x > curve.x[curve.x.length - 1] * 1.02;
          const item = document.createElement("span");
          item.textContent = curve.name + " " + (y === null || outside ? "not read" : say(y, data.units[1]));
          readout.append(item);
        }
      };
      const hide = (told) => {
        cursor.hidden = true;
        readout.textContent = hint;
        if (kin && told !== "by kin") kin.dispatchEvent(new CustomEvent("frusta-read", { detail: { figure, unit: data.units[0], x: null } }));
      };
      // charts of one frequency axis are read together
      if (kin) kin.addEventListener("frusta-read", ({ detail }) => {
        if (detail.figure === figure || detail.unit !== data.units[0] || !svg.clientWidth || !plot.isConnected) return;
        const [low, high] = frame.x_log ? frame.x.map(Math.log) : frame.x;
        const at = detail.x === null ? -1 : ((frame.x_log ? Math.log(detail.x) : detail.x) - low) / (high - low);
        if (at < 0 || at > 1) return hide("by kin");
        share = at;
        show("by kin");
      });
      plot.addEventListener("pointermove", (event) => {
        const scale = svg.clientWidth / svg.viewBox.baseVal.width;
        const x = (event.clientX - svg.getBoundingClientRect().left) / scale - frame.left;
        if (x < 0 || x > frame.width) return hide();
        share = x / frame.width;
        show();
      });
      plot.addEventListener("pointerleave", () => { if (document.activeElement !== plot) hide(); });
      plot.addEventListener("focus", () => show());
      plot.addEventListener("blur", () => hide());
      plot.addEventListener("keydown", (event) => {
        const step = { ArrowLeft: -0.005, ArrowRight: 0.005, PageUp: -0.05, PageDown: 0.05, Home: -1, End: 1 }[event.key];
        if (step === undefined) return;
        event.preventDefault();
        share = Math.min(1, Math.max(0, share + (event.shiftKey ? 5 : 1) * step));
        readout.setAttribute("aria-live", "polite");
        show();
      });
    });
  };
  const all = () => document.querySelectorAll("figure[data-curves]:not([data-read])").forEach(equip);
  all();
  document.addEventListener("frusta-drawn", all);
})();
