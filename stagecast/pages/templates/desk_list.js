"use strict";
// The list of fields: searched as one types, walked by keys, and as it was on the page before.
(() => {
  const list = document.getElementById("list");
  if (!list) return;
  const KEPT = "stagecast desk list", KEYS = "stagecast desk keys";
  const plain = (text) => text.toLowerCase().replace(/\s+/g, " ").trim();
  let lines = [], sections = [];

  const find = () => document.getElementById("find");
  const show = () => {
    const words = plain(find().value).split(" ").filter(Boolean);
    let count = 0;
    for (const one of lines) {
      const fits = words.every((word) => one.text.includes(word));
      if (one.line.hidden === fits) one.line.hidden = !fits;
      count += fits;
    }
    for (const one of sections) one.section.hidden = one.lines.every((line) => line.hidden);
    const all = lines.length, noun = all === 1 ? " field" : " fields";
    document.getElementById("found").textContent = words.length
      ? count + " of " + all + noun : all + noun;
  };
  const keep = () => {
    const kept = { find: find().value, top: list.scrollTop };
    try { sessionStorage.setItem(KEPT, JSON.stringify(kept)); } catch { /* full, or off */ }
  };

  // Read the list as it stands now; again after it was renewed.
  const read = (typed) => {
    if (!find()) return;
    sections = [...list.querySelectorAll("section")].map((section) => (
      { section, lines: [...section.querySelectorAll("li")] }
    ));
    lines = sections.flatMap((one, need) => one.lines.map((line) => ({
      line, text: plain(line.textContent + " " + one.section.firstElementChild.textContent),
    })));
    document.getElementById("search").hidden = false;
    document.getElementById("keys-open").hidden = false;
    find().value = typed;
    show();
  };

  let kept = {};
  try { kept = JSON.parse(sessionStorage.getItem(KEPT)) || {}; } catch { /* nothing is kept */ }
  read(kept.find || "");
  const current = list.querySelector("a[aria-current]");
  if (kept.top !== undefined) list.scrollTop = kept.top;
  if (current && list.scrollHeight > list.clientHeight) {
    const line = current.closest("li"), top = line.offsetTop - list.offsetTop;
    const seen = top >= list.scrollTop && top + line.offsetHeight <= list.scrollTop + list.clientHeight;
    if (!seen) list.scrollTop = top - list.clientHeight / 3;
  }
  let typed = kept.find || "";
  live.renewed(() => read(typed));
  list.addEventListener("input", (event) => {
    if (event.target.id !== "find") return;
    typed = find().value;
    show();
    keep();
  });
  list.addEventListener("scroll", keep, { passive: true });
  list.addEventListener("submit", (event) => { event.preventDefault(); goTo(shown()[0]); });

  const shown = () => lines.filter((one) => !one.line.hidden).map((one) => one.line.querySelector("a"));
  const goTo = (link) => { if (link) { keep(); location.href = link.href; } };
  list.addEventListener("keydown", (event) => {
    const way = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!way || event.altKey || event.ctrlKey || event.metaKey) return;
    const links = shown(), at = links.indexOf(document.activeElement);
    if (at < 0 && event.target.id !== "find") return;
    event.preventDefault();
    (at + way < 0 ? find() : links[Math.min(at + way, links.length - 1)])?.focus();
  });

  // Today's stops in their order; round and round.
  const stop = (way) => {
    const stops = lines.filter((one) => one.line.dataset.stop)
      .sort((a, b) => a.line.dataset.stop - b.line.dataset.stop)
      .map((one) => one.line.querySelector("a"));
    const at = stops.findIndex((link) => link.hasAttribute("aria-current"));
    if (stops.length) goTo(stops[at < 0 ? (way > 0 ? 0 : stops.length - 1)
      : (at + way + stops.length) % stops.length]);
  };
  const about = () => {
    const link = list.querySelector("a[aria-current]");
    return link && new URL(link.href).search;
  };
  const log = (page) => { const of = about(); if (of) location.href = "/" + page + of; };
  const keys = document.getElementById("keys");
  const doing = {
    "/": () => { if (find() && find().offsetParent) { find().focus(); find().select(); } else location.href = "/"; },
    n: () => stop(1),
    b: () => stop(-1),
    v: () => log("visit"),
    t: () => log("treatment"),
    l: () => { location.href = "/"; },
    "?": () => keys.showModal(),
  };
  const on = document.getElementById("keys-on");
  try { on.checked = localStorage.getItem(KEYS) !== "off"; } catch { /* nothing is kept */ }
  on.addEventListener("change", () => {
    try { localStorage.setItem(KEYS, on.checked ? "on" : "off"); } catch { /* nothing is kept */ }
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented || keys.open) return;
    if (event.target.closest("input, textarea, select, [contenteditable]")) {
      if (event.key === "Escape" && event.target.id === "find") event.target.blur();
      return;
    }
    const what = on.checked && Object.hasOwn(doing, event.key) && doing[event.key];
    if (!what) return;
    event.preventDefault();
    what();
  });
  list.addEventListener("click", (event) => { if (event.target.id === "keys-open") keys.showModal(); });
  document.getElementById("keys-close").addEventListener("click", () => keys.close());
})();
