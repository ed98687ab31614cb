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

  // the room draws itself anew without losing the place
  const refresh = async () => {
    if (document.body.dataset.room === "bench") return;
    const answer = await fetch(location.href).catch(() => null);
    if (!answer) return complain(offline);
    if (!answer.ok) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    const open = [...document.querySelectorAll("details[open]")].map((d) => d.querySelector("summary").textContent);
    document.getElementById("main").replaceWith(fresh.getElementById("main"));
    document.querySelector(".top").replaceWith(fresh.querySelector(".top"));
    for (const d of document.querySelectorAll("details")) if (open.includes(d.querySelector("summary").textContent)) d.open = true;
    htmx.process(document.getElementById("main"));
    document.dispatchEvent(new CustomEvent("frusta-drawn"));
  };

  const takeBack = async () => settle(await call("POST", "/api/undo"));

  document.addEventListener("submit", async (event) => {
    const form = event.target.closest("form[data-api]");
    if (!form) return;
    event.preventDefault();
    const [method, path] = form.dataset.api.split(" ");
    const cells = {};
    for (const [name, value] of new FormData(form)) cells[name] = value;
    for (const box of form.querySelectorAll("input[type=checkbox][data-list]")) {
      const list = box.dataset.list;
      cells[list] = cells[list] || [];
      if (!box.checked) cells[list].push(box.value);
    }
    const button = form.querySelector("button");
    if (button) button.disabled = true;
    const answer = await call(method, path, cells);
    if (button) button.disabled = false;
    settle(answer);
  });
  document.addEventListener("click", async (event) => {
    const button = event.target.closest("button[data-api]");
    if (!button) return;
    const [method, path] = button.dataset.api.split(" ");
    button.disabled = true;
    const answer = await call(method, path, button.dataset.body ? JSON.parse(button.dataset.body) : undefined);
    button.disabled = false;
    settle(answer);
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
  document.addEventListener("htmx:afterSettle", () => document.dispatchEvent(new CustomEvent("frusta-drawn")));
  document.body.addEventListener("frusta-read", () => refresh());
  return { base, call, say, complain, settle, refresh, typing, element };
})();
