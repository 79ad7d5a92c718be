"use strict";
// What was typed is kept in this tab until it is logged or saved: no way back or forth loses it.
// A form that changes a file keeps only what was changed in it (data-keep="changes"), by names that
// hold when lines move (data-draft): the rest of the file may be another by then.
(() => {
  const form = document.querySelector("form[method=post]");
  const sent = "stagecast sent";
  const store = {
    get: (name) => { try { return sessionStorage.getItem(name); } catch { return null; } },
    set: (name, text) => { try { sessionStorage.setItem(name, text); } catch { /* full, or off */ } },
    drop: (name) => { try { sessionStorage.removeItem(name); } catch { /* off */ } },
  };
  if (document.getElementById("saved")) {
    const was = store.get(sent);
    if (was) store.drop(was);
    history.replaceState(null, "", location.href.replace(/[?&](saved|removed)=1/, ""));  // said once
  }
  store.drop(sent);  // else it came back: what was sent was not logged
  if (!form) return;
  const name = "stagecast draft " + (form.dataset.draft || location.pathname + location.search);
  const changesOnly = form.dataset.keep === "changes";
  const inputs = () => [...form.elements].filter((one) => one.name && !one.hidden && !["hidden", "checkbox", "submit"].includes(one.type));
  const key = (one) => one.dataset.draft || one.name;
  const all = () => Object.fromEntries(inputs().map((one) => [key(one), one.value]));
  const inFile = (one) => form.elements["o-" + one.name.slice(2)].value;
  const began = changesOnly ? Object.fromEntries(inputs().map((one) => [key(one), inFile(one)])) : all();
  const now = () => Object.fromEntries(Object.entries(all()).filter(([of, said]) => !changesOnly || said !== began[of]));
  const says = (draft) => Object.keys(draft).some((of) => draft[of] !== (began[of] ?? ""));
  const refused = Boolean(document.querySelector(".trouble"));
  const putBack = (draft) => {
    if (window.deskRoom) {
      const places = Object.keys(draft).filter((of) => of.startsWith("count_") && draft[of])
        .map((of) => of.split("_").slice(1).map(Number));
      const picks = Object.keys(draft).filter((of) => of.startsWith("pest_") && draft[of]).map((of) => Number(of.slice(5)));
      window.deskRoom(Math.max(1, ...places.map((one) => one[0] + 1), ...picks.map((row) => row + 1)), Math.max(1, ...places.map((one) => one[1] + 1)));
    }
    for (const one of inputs()) if (draft[key(one)] !== undefined) one.value = draft[key(one)];
  };
  const bar = document.getElementById("draft"), told = document.getElementById("draft-says");
  const keep = () => { if (refused || says(now())) store.set(name, JSON.stringify(now())); else store.drop(name); };
  const offer = (draft, back) => {
    bar.hidden = false;
    told.textContent = back ? bar.dataset.back : bar.dataset.kept;
    document.getElementById("draft-back").hidden = back;
    document.getElementById("draft-back").onclick = () => { putBack(draft); keep(); bar.hidden = true; inputs()[0].focus(); };
    document.getElementById("draft-drop").onclick = () => {
      putBack(began); store.drop(name); bar.hidden = true; inputs()[0].focus();
    };
  };
  let draft = null;
  try { draft = JSON.parse(store.get(name)); } catch { /* nothing is kept */ }
  if (draft && !refused && says(draft)) {
    const how = performance.getEntriesByType("navigation")[0]?.type;
    const back = how === "back_forward" || how === "reload";
    if (back) putBack(draft);
    offer(draft, back);
  }
  form.addEventListener("input", keep);
  form.addEventListener("change", keep);
  form.addEventListener("submit", () => store.set(sent, name));
})();
