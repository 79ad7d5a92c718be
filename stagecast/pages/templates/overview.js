"use strict";
(() => {
  const table = document.getElementById("table");
  const days = document.getElementById("days");
  if (!table || !days) return;

  // The timeline opens at today, a third of the way in, and the map in the middle.
  days.scrollLeft = Math.max(0, Number(days.dataset.today) - days.clientWidth / 3);
  const map = document.querySelector(".scroll.map");
  map.scrollLeft = (map.scrollWidth - map.clientWidth) / 2;

  const FEW = 40;
  const body = table.tBodies[0], lines = days.querySelector("ol");
  const parts = new Map();
  for (const part of document.querySelectorAll("[data-n]")) {
    const n = part.dataset.n;
    if (!parts.has(n)) parts.set(n, []);
    parts.get(n).push(part);
  }
  const lineOf = new Map([...lines.children].map((line) => [line.dataset.n, line]));
  const plain = (text) => text.toLowerCase().replace(/\s+/g, " ").trim();
  const rows = [...body.rows].map((row) => ({
    row,
    n: row.dataset.n,
    need: row.dataset.need,
    text: plain([...row.cells].map((cell) => cell.textContent).join(" | ")),
  }));

  // Show only the fields with a text and a need, on every part of the page.
  const form = document.querySelector("form.asked");
  const text = document.getElementById("text"), need = document.getElementById("need");
  const shown = document.getElementById("shown");
  let waiting = 0;
  const show = () => {
    const words = plain(text.value);
    let count = 0;
    for (const one of rows) {
      const fits = (!need.value || one.need === need.value)
        && one.text.includes(words);
      count += fits;
      for (const part of parts.get(one.n)) part.toggleAttribute("hidden", !fits);
    }
    // Few marks have room for their numbers.
    map.classList.toggle("few", count <= FEW && count < rows.length);
    shown.textContent = count + " of " + rows.length + (rows.length === 1 ? " field" : " fields")
      + " shown";
  };
  const soon = () => { clearTimeout(waiting); waiting = setTimeout(show, 120); };
  text.addEventListener("input", soon);
  need.addEventListener("change", show);
  form.addEventListener("submit", (event) => { event.preventDefault(); show(); });
  form.hidden = false;
  show();

  // Sort the table by a column, and the timeline with it.
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
    keyed.sort((a, b) => (!a.key - !b.key) || down * order.compare(a.key, b.key) || a.n - b.n);
    body.append(...keyed.map((one) => one.row));
    lines.append(...keyed.map((one) => lineOf.get(one.n)));
  };
  [...table.tHead.rows[0].cells].forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    button.addEventListener("click", () => sortBy(head, column));
    head.replaceChildren(button);
  });
  table.tHead.rows[0].cells[0].setAttribute("aria-sort", "ascending");
})();
