"use strict";
// The entry is in the log: what was kept of its form is not needed any more.
(() => {
  try {
    const name = sessionStorage.getItem("stagecast sent");
    if (name) sessionStorage.removeItem(name);
    sessionStorage.removeItem("stagecast sent");
  } catch { /* nothing is kept */ }
})();
