"use strict";
(() => {
  const table = document.getElementById("table"), lanes = document.getElementById("lanes");
  if (!table || !lanes) return;

  const FEW = 40;
  const body = table.tBodies[0];
  const marks = new Map();
  for (const mark of document.querySelectorAll(".mappart a[href^='#f']")) {
    const id = mark.getAttribute("href").slice(1);
    if (!marks.has(id)) marks.set(id, []);
    marks.get(id).push(mark);
  }
  const plain = (text) => text.toLowerCase().replace(/\s+/g, " ").trim();
  const rows = [...body.rows].map((row, place) => ({
    row,
    place,
    lane: lanes.children[place],
    parts: [row, lanes.children[place], ...marks.get("f" + (place + 1)) ?? []],
    need: row.dataset.need,
    text: plain([...row.cells].map((cell) => cell.textContent).join(" | ")),
  }));

  // A link to a field opens its lane.
  const open = () => {
    const lane = /^#f\d+$/.test(location.hash) && document.getElementById(location.hash.slice(1));
    if (!lane) return;
    lane.open = true;
    lane.firstElementChild.focus({ preventScroll: true });
    lane.scrollIntoView({ block: "nearest" });
  };
  addEventListener("hashchange", open);
  document.addEventListener("click", (event) => {
    const link = event.target.closest('a[href^="#f"]');
    if (link && link.getAttribute("href") === location.hash) open();
  });
  open();

  // Show only the fields with a text and a need, on every part of the page.
  const form = document.querySelector("form.asked");
  const text = document.getElementById("text"), need = document.getElementById("need");
  const shown = document.getElementById("shown");
  const maps = document.querySelectorAll(".mappart .map");
  let waiting = 0;
  const show = () => {
    const words = plain(text.value);
    let count = 0;
    for (const one of rows) {
      const fits = (!need.value || one.need === need.value) && one.text.includes(words);
      count += fits;
      for (const part of one.parts) part.toggleAttribute("hidden", !fits);
    }
    // Few marks have room for their names.
    for (const map of maps) map.classList.toggle("few", count <= FEW && count < rows.length);
    shown.textContent = count + " of " + rows.length + (rows.length === 1 ? " field" : " fields")
      + " shown";
  };
  const soon = () => { clearTimeout(waiting); waiting = setTimeout(show, 120); };
  text.addEventListener("input", soon);
  need.addEventListener("change", show);
  form.addEventListener("submit", (event) => { event.preventDefault(); show(); });
  form.hidden = false;
  show();

  // Sort the table by a column, and then the ribbons.
  let following = 0;
  const order = new Intl.Collator("en", { numeric: true, sensitivity: "base" });
  const keyOf = (row, column) => {
    const cell = row.cells[column];
    const key = cell.dataset.k ?? cell.textContent.trim();
    return key === "-" ? "" : key;
  };
  const sortBy = (head, column) => {
    const down = head.getAttribute("aria-sort") === "ascending" ? -1 : 1;
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down === 1 ? "ascending" : "descending");
    const keyed = rows.map((one) => ({ ...one, key: keyOf(one.row, column) }));
    keyed.sort((a, b) => (!a.key - !b.key) || down * order.compare(a.key, b.key) || a.place - b.place);
    body.append(...keyed.map((one) => one.row));
    clearTimeout(following);
    following = setTimeout(() => lanes.append(...keyed.map((one) => one.lane)));
  };
  [...table.tHead.rows[0].cells].forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    button.addEventListener("click", () => sortBy(head, column));
    head.replaceChildren(button);
  });
  table.tHead.rows[0].cells[1].setAttribute("aria-sort", "ascending");
})();
