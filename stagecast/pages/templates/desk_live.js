"use strict";
// The page asks how far a newer plan is, says so, and puts the new page in place of its own parts.
const live = (() => {
  const frame = document.getElementById("frame");
  const says = document.getElementById("waits");
  const SOON_MS = 700, LATER_MS = 20000;
  const listeners = [];
  let timer = 0, asking = false;

  const addressOf = (element) => element && (element.id ? "#" + CSS.escape(element.id)
    : element.getAttribute("href") ? 'a[href="' + CSS.escape(element.getAttribute("href")) + '"]' : "");
  const say = (text) => { if (says.textContent !== text) says.textContent = text; };

  // Put a part of the new page in place of ours; what has the focus and what is open stay so.
  const put = (part, fresh) => {
    const held = part.contains(document.activeElement) ? addressOf(document.activeElement) : "";
    const open = [...part.querySelectorAll("details")].map((one) => one.open);
    const top = part.scrollTop;
    part.replaceChildren(...fresh.childNodes);
    [...part.querySelectorAll("details")].forEach((one, i) => { one.open = open[i] ?? one.open; });
    part.scrollTop = top;
    const again = held && part.querySelector(held);
    if (again) again.focus({ preventScroll: true });
  };

  const renew = async () => {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    const text = await answer.text();
    const next = new DOMParser().parseFromString(text, "text/html");
    const part = next.getElementById("frame");
    if (!part || document.querySelector("[data-wait]")) { location.reload(); return; }
    put(document.getElementById("list"), next.getElementById("list"));
    // A form is left alone: somebody may be typing into it.
    const main = document.getElementById("main");
    if (!main.querySelector("form[method=post]")) put(main, next.getElementById("main"));
    frame.dataset.version = part.dataset.version;
    frame.toggleAttribute("data-waits", part.hasAttribute("data-waits"));
    say(next.getElementById("waits").textContent);
    for (const listener of listeners) listener();
  };

  const ask = async () => {
    if (asking) return;
    asking = true;
    clearTimeout(timer);
    try {
      const entry = location.pathname === "/entry" ? location.search : "";
      const answer = await fetch("/progress" + entry);
      const found = await answer.json();
      const was = frame.hasAttribute("data-waits");
      if (found.broken) {
        say(found.waits);
        if (!document.querySelector("form[method=post]")) { location.reload(); return; }
        found.version = frame.dataset.version;
      }
      if (!found.waits && (was || found.version !== frame.dataset.version)) await renew();
      else {
        say(found.waits);
        frame.toggleAttribute("data-waits", Boolean(found.waits));
      }
    } catch {
      say(says.dataset.noAnswer);
    }
    asking = false;
    timer = setTimeout(ask, frame.hasAttribute("data-waits") ? SOON_MS : LATER_MS);
  };

  if (frame) {
    timer = setTimeout(ask, frame.hasAttribute("data-waits") ? SOON_MS : LATER_MS);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
    addEventListener("pageshow", (event) => { if (event.persisted) ask(); });
  }
  return { renewed: (listener) => listeners.push(listener) };
})();
