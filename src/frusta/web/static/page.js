"use strict";
// What all rooms share: calls to the API, what was said, undo, keys. Everything on the page goes through /api.
const page = (() => {
  const base = document.body.dataset.base;
  const told = document.getElementById("told");
  const trouble = document.getElementById("trouble");
  let fading = 0;

  const element = (tag, className, text) => {
    const made = document.createElement(tag);
    if (className) made.className = className;
    if (text) made.textContent = text;
    return made;
  };

  const say = (text, undo) => {
    clearTimeout(fading);
    trouble.replaceChildren();
    if (!text) return told.replaceChildren();
    const toast = element("div", "toast");
    toast.append(element("span", "", text));
    if (undo) {
      const button = element("button", "btn slim");
      if (document.body.dataset.room === "bench") button.dataset.key = "u";  // the ticket's own Undo stands before it
      button.append(element("kbd", "", "U"), "Undo");
      button.addEventListener("click", takeBack);
      toast.append(button);
    }
    told.replaceChildren(toast);
    fading = setTimeout(() => told.replaceChildren(), undo ? 20000 : 6000);
  };

  const complain = (problem) => {
    told.replaceChildren();
    const card = element("div", "fault"), inside = element("div");
    inside.append(element("p", "what", problem.what));
    if (problem.where) inside.append(element("p", "", problem.where));
    if (problem.what_to_do) { const p = element("p"); p.append(element("b", "", problem.what_to_do)); inside.append(p); }
    const button = element("button", "btn slim", "Close");
    button.addEventListener("click", () => trouble.replaceChildren());
    inside.append(button);
    card.append(inside);
    trouble.replaceChildren(card);
  };

  const problemOf = (text) => {
    try { const told = JSON.parse(text).error; if (told) return told; } catch (_) { /* not ours */ }
    return { what: "frusta gave an answer that this page does not understand.", where: "", what_to_do: "Reload the page." };
  };
  const offline = { what: "frusta does not answer.", where: "The program behind this page has ended, or the network is gone.", what_to_do: "Start frusta open again, then reload. What was saved is safe." };

  const call = async (method, path, body) => {
    let answer;
    try {
      answer = await fetch(base + path, {
        method, headers: body === undefined ? {} : { "content-type": "application/json" },
        body: body === undefined ? undefined : JSON.stringify(body),
      });
    } catch (_) { complain(offline); return null; }
    const text = await answer.text();
    if (!answer.ok) { complain(problemOf(text)); return null; }
    return JSON.parse(text);
  };

  const settle = (answer) => {
    if (!answer) return;
    if (answer.go) { location.assign(base + answer.go); return; }
    say(answer.said, answer.undo);
    htmx.trigger(document.body, "frusta-changed");
    refresh();
  };

  // The room draws itself anew without losing anything: what is being typed, open details, focus, scroll.
  const TEXT = "input:not([type=radio]):not([type=checkbox]):not([type=range]):not([type=file]),textarea,select";
  const changed = (field) => {
    if (field.type === "checkbox" || field.type === "radio") return field.checked !== field.defaultChecked;
    if (field.tagName === "SELECT") return field.selectedIndex !== Math.max(0, [...field.options].findIndex((o) => o.defaultSelected));
    return field.type !== "file" && field.type !== "range" && field.value !== field.defaultValue;
  };
  const typed = () => [...document.querySelectorAll("main form[data-api]:not([data-sent]) :is(input,textarea,select)")].filter(changed);
  const busy = () => typed().length > 0 || document.querySelector("main input[type=range]:active") !== null || document.activeElement.matches(`main :is(${TEXT})`);
  const nameOf = (e) => {
    if (e.id) return `#${CSS.escape(e.id)}`;
    for (const key of ["data-key", "data-api", "href", "name"]) {
      if (!e.hasAttribute(key)) continue;
      const form = key === "name" && e.closest("form[data-api]");
      const own = `${e.tagName.toLowerCase()}[${key}="${CSS.escape(e.getAttribute(key))}"]` + (e.type === "radio" || e.dataset.list ? `[value="${CSS.escape(e.value)}"]` : "");
      return form ? `form[data-api="${CSS.escape(form.dataset.api)}"] ${own}` : own;
    }
    return "";
  };
  const summaryOf = (d) => { if (d.id) return d.id; const f = d.closest("figure"); return `${f ? f.dataset.curves || "" : ""} ${d.querySelector("summary").textContent}`; };
  const keep = () => {
    const active = document.activeElement, where = active && active.closest("main") ? nameOf(active) : "";
    return {
      fields: typed().map((f) => [nameOf(f), f.type === "checkbox" || f.type === "radio" ? null : f.value, f.checked]),
      open: [...document.querySelectorAll("main details[open]")].map(summaryOf),
      shut: [...document.querySelectorAll("main details:not([open])")].map(summaryOf),
      where, caret: where && active.matches("input:not([inputmode=none]),textarea") && active.selectionStart !== undefined ? [active.selectionStart, active.selectionEnd] : null,
      scrolls: [...document.querySelectorAll("main .scroller, main .picker")].map((e) => [e.scrollLeft, e.scrollTop]),
      x: scrollX, y: scrollY,
    };
  };
  const restore = (kept) => {
    for (const d of document.querySelectorAll("main details")) {
      if (kept.open.includes(summaryOf(d))) d.open = true;
      else if (kept.shut.includes(summaryOf(d))) d.open = false;
    }
    for (const [name, value, checked] of kept.fields) {
      const field = name && document.querySelector(name);
      if (!field) continue;
      if (value === null) field.checked = checked; else field.value = value;
    }
    const again = kept.where && document.querySelector(kept.where);
    if (again) {
      again.focus({ preventScroll: true });
      if (kept.caret && kept.caret[0] !== null) try { again.setSelectionRange(...kept.caret); } catch (_) { /* this kind of field has no caret to set */ }
    }
    [...document.querySelectorAll("main .scroller, main .picker")].forEach((e, i) => { if (kept.scrolls[i]) [e.scrollLeft, e.scrollTop] = kept.scrolls[i]; });
    scrollTo({ left: kept.x, top: kept.y, behavior: "instant" });
  };
  const refresh = async () => {
    if (document.body.dataset.room === "bench") return;
    const answer = await fetch(location.href).catch(() => null);
    if (!answer) return complain(offline);
    if (!answer.ok) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    const main = fresh.getElementById("main"), old = document.getElementById("main");
    const kept = keep();
    // what loads by itself keeps its old picture until the new one is there, so that nothing jumps
    for (const part of main.querySelectorAll("[data-loads]")) {
      const was = old.querySelector(`#${part.id}`);
      if (was) part.replaceChildren(...was.childNodes);
    }
    old.replaceWith(main);
    document.querySelector(".top").replaceWith(fresh.querySelector(".top"));
    restore(kept);
    htmx.process(main);
    document.dispatchEvent(new CustomEvent("frusta-drawn"));
  };
  // figures that came while somebody types wait for a quiet word
  const arrived = () => {
    if (!busy()) return refresh();
    const strip = document.getElementById("reading");
    if (!strip) return;
    const button = element("button", "btn slim push", "Show them");
    button.id = "show-new";
    button.addEventListener("click", refresh);
    strip.className = "strip quiet";
    strip.setAttribute("role", "status");
    strip.replaceChildren(element("b", "", "New figures are ready."), element("span", "soft", "What you type stays."), button);
  };

  const takeBack = async () => settle(await call("POST", "/api/undo"));

  document.addEventListener("submit", async (event) => {
    const form = event.target.closest("form[data-api]");
    if (!form) return;
    event.preventDefault();
    const [method, path] = form.dataset.api.split(" ");
    const cells = {};
    // of a row only what was changed is sent, so that what another tab wrote meanwhile stays
    const sent = (name) => !path.includes("/tables/") || [...form.querySelectorAll(`[name="${CSS.escape(name)}"]`)].some((f) => f.readOnly || f.type === "hidden" || changed(f));
    for (const [name, value] of new FormData(form)) if (sent(name)) cells[name] = value;
    for (const box of form.querySelectorAll("input[type=checkbox][data-list]")) {
      const list = box.dataset.list;
      cells[list] = cells[list] || [];
      if (!box.checked) cells[list].push(box.value);
    }
    const button = form.querySelector("button"), focused = button && button === document.activeElement;
    if (button) button.disabled = true;
    const answer = await call(method, path, cells);
    if (button) button.disabled = false;
    if (focused) button.focus();  // what is disabled loses it
    if (answer && form.dataset.stays === undefined) form.dataset.sent = "yes";
    settle(answer);
  });
  document.addEventListener("input", (event) => { const form = event.target.closest("form[data-sent]"); if (form) delete form.dataset.sent; });
  document.addEventListener("click", async (event) => {
    const button = event.target.closest("button[data-api]");
    if (!button) return;
    const [method, path] = button.dataset.api.split(" ");
    const focused = button === document.activeElement;
    button.disabled = true;
    const answer = await call(method, path, button.dataset.body ? JSON.parse(button.dataset.body) : undefined);
    button.disabled = false;
    if (focused) button.focus();
    settle(answer);
  });

  // choices stand in the address, so that a reload, and the room drawn anew, show the same
  document.addEventListener("change", (event) => {
    const form = event.target.closest("[data-remember]");
    if (!form) return;
    const told = new URLSearchParams(location.search), fields = [...form.querySelectorAll("[name]")];
    for (const field of fields) told.delete(field.name);
    for (const field of fields) if (!field.disabled && (!["radio", "checkbox"].includes(field.type) || field.checked)) told.append(field.name, field.value);
    history.replaceState(null, "", `${location.pathname}?${told}${location.hash}`);
  });

  const typing = (target) => target.closest("input:not([type=radio]):not([type=checkbox]):not([type=range]),textarea,select");
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.defaultPrevented) return;
    const help = document.getElementById("help");
    if (event.key === "Escape") { trouble.replaceChildren(); return; }
    if (help.open || typing(event.target)) return;
    if (event.key === "?") { event.preventDefault(); help.showModal(); return; }
    const room = document.querySelector(`[data-room-number="${event.key}"]`);
    if (room && event.target.closest("input[type=range]") === null) { event.preventDefault(); room.click(); return; }
    const key = event.key.toLowerCase();
    const keyed = document.querySelector(`[data-key="${CSS.escape(key)}"]`);
    if (keyed) { event.preventDefault(); keyed.click(); return; }
    if (key === "u" && document.body.dataset.room !== "bench") { event.preventDefault(); takeBack(); }
    if (key === "o") { event.preventDefault(); location.assign(base + "/import"); }
  });

  // while sound plays, Stop is on screen in every room
  if (document.body.dataset.sitting && document.body.dataset.room !== "bench") {
    const bar = document.getElementById("sounding");
    const stop = async () => { const answer = await call("POST", "/api/bench/stop"); if (answer) say(answer.said); };
    document.getElementById("sounding-stop").addEventListener("click", stop);
    document.addEventListener("keydown", (event) => { if (event.key === "Escape" && !bar.hidden) stop(); });
    new EventSource(base + "/api/bench/events").onmessage = (event) => { bar.hidden = !JSON.parse(event.data).sound; };
  }

  document.addEventListener("htmx:responseError", (event) => complain(problemOf(event.detail.xhr.responseText)));
  document.addEventListener("htmx:sendError", () => complain(offline));
  document.addEventListener("htmx:afterSettle", (event) => { const part = event.detail.target; if (part && part.dataset.loads !== undefined) part.dataset.loads = "done"; });
  document.addEventListener("htmx:afterSettle", () => document.dispatchEvent(new CustomEvent("frusta-drawn")));
  document.body.addEventListener("frusta-read", arrived);
  return { base, call, say, complain, settle, refresh, keep, restore, typing, element, offline: () => complain(offline), refuse: (text) => complain(problemOf(text)) };
})();
