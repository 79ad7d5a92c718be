"use strict";
// Counts by keyboard: Enter goes down a set and then to the next one; a table may be pasted.
(() => {
  const grid = document.getElementById("i-rows");
  if (!grid) return;
  const most = { rows: Number(grid.dataset.mostRows), sets: Number(grid.dataset.mostSets) };
  const rows = () => [...grid.querySelectorAll(".row")];
  const cells = (row) => [...row.querySelectorAll(".cell input")];
  const pick = (row) => row.querySelector(".pest select");
  const at = (input) => {
    const all = rows(), row = all.indexOf(input.closest(".row"));
    return row < 0 ? null : { row, set: cells(all[row]).indexOf(input) };
  };
  const go = (row, set) => {
    const input = rows()[row] && cells(rows()[row])[set];
    if (input) { input.focus(); input.select(); }
    return Boolean(input);
  };

  const addSet = () => {
    const number = cells(rows()[0]).length;
    if (number >= most.sets) return false;
    rows().forEach((row, r) => {
      const last = row.querySelector(".cell:last-of-type"), label = last.cloneNode(true);
      const input = label.querySelector("input");
      label.querySelector("span").textContent = "Set " + (number + 1);
      input.id = "i-count_" + r + "_" + number;
      input.name = "count_" + r + "_" + number;
      input.value = "";
      input.removeAttribute("aria-invalid");
      last.after(label);
    });
    grid.style.setProperty("--sets", number + 1);
    return true;
  };
  const addRow = () => {
    const all = rows(), number = all.length;
    if (number >= most.rows) return false;
    const row = all[number - 1].cloneNode(true);
    row.querySelector("legend").textContent = "Counts of pest " + (number + 1);
    row.querySelector(".pest span").textContent = "Pest " + (number + 1);
    for (const wrong of row.querySelectorAll(".wrong")) wrong.remove();
    for (const input of [pick(row), ...cells(row)]) {
      input.name = input.name.replace(/_\d+/, "_" + number);
      input.id = "i-" + input.name;
      input.value = "";
      for (const name of ["aria-invalid", "aria-describedby"]) input.removeAttribute(name);
    }
    all[number - 1].after(row);
    return true;
  };
  const makeRoom = (count, sets) => {
    while (rows().length < count && addRow());
    while (cells(rows()[0]).length < sets && addSet());
  };
  const moreSets = document.getElementById("more-sets"), moreRows = document.getElementById("more-rows");
  moreSets.parentElement.hidden = false;
  const full = () => {
    moreSets.disabled = cells(rows()[0]).length >= most.sets;
    moreRows.disabled = rows().length >= most.rows;
  };
  full();
  moreSets.addEventListener("click", () => { addSet(); full(); go(0, cells(rows()[0]).length - 1); });
  moreRows.addEventListener("click", () => { addRow(); full(); pick(rows().at(-1)).focus(); });

  // The rows that one goes through: those with a pest, or all while none has one.
  const used = () => {
    const named = rows().map((row, r) => (pick(row).value ? r : -1)).filter((r) => r >= 0);
    return named.length ? named : rows().map((row, r) => r);
  };
  const next = (from, way) => {
    const through = used();
    const place = through.indexOf(from.row);
    const on = place < 0 ? (way > 0 ? through.findIndex((r) => r > from.row) : through.findLastIndex((r) => r < from.row)) : place + way;
    if (on >= 0 && on < through.length) return go(through[on], from.set);
    return way > 0 ? go(through[0], from.set + 1) : go(through.at(-1), from.set - 1);
  };
  grid.addEventListener("keydown", (event) => {
    if (!event.target.matches(".cell input") || event.altKey || event.metaKey || event.isComposing) return;
    if (event.key === "Enter" && !event.ctrlKey) {
      event.preventDefault();  // never logs by itself: a number follows
      if (!next(at(event.target), event.shiftKey ? -1 : 1) && !event.shiftKey) document.getElementById("i-set").focus();
    }
    const way = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (way && !event.ctrlKey) {
      event.preventDefault();
      const here = at(event.target);
      go(here.row + way, here.set);
    }
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.ctrlKey && event.target.form?.matches("[method=post]")) {
      event.preventDefault();
      event.target.form.requestSubmit();
    }
  });

  // A table from a spreadsheet: numbers fill the cells from here on; names of pests pick the rows.
  const plain = (text) => text.toLowerCase().replace(/[^a-z0-9]+/g, " ").trim();
  const isName = (text) => /[a-z]/i.test(text);
  const option = (select, text) => {
    const asked = plain(text);
    return [...select.options].find((one) => one.value && (plain(one.value) === asked || plain(one.text) === asked));
  };
  const turned = (table) => table[0].map((cell, c) => table.map((line) => line[c] ?? ""));
  grid.addEventListener("paste", (event) => {
    if (!event.target.matches(".cell input")) return;
    const text = event.clipboardData.getData("text/plain").replace(/\r\n?/g, "\n").replace(/\n+$/, "");
    if (!/[\t\n]/.test(text)) return;
    event.preventDefault();
    let table = text.split("\n").map((line) => line.split("\t").map((cell) => cell.trim()));
    const widest = Math.max(...table.map((line) => line.length));
    table = table.map((line) => [...line, ...Array(widest - line.length).fill("")]);
    const found = (names) => names.filter((name) => option(pick(rows()[0]), name)).length;
    // Pests across the top: turn it, so that they go down.
    if (found(table[0]) > found(table.map((line) => line[0]))) table = turned(table);
    const named = table.some((line) => isName(line[0]) && option(pick(rows()[0]), line[0]));
    if (named && !option(pick(rows()[0]), table[0][0])) table.shift();  // the heads of the sets
    const here = at(event.target), first = named ? 0 : here.row, wide = table[0].length;
    makeRoom(named ? 1 : first + table.length, here.set + (named ? wide - 1 : wide));
    const lost = [];
    let put = 0, free = first;
    for (const line of table) {
      const [name, numbers] = named ? [line[0], line.slice(1)] : ["", line];
      if (line.every((cell) => cell === "")) { free += !named; continue; }
      let row = free;
      if (named) {
        const known = option(pick(rows()[0]), name);
        row = known ? rows().findIndex((one) => pick(one).value === known.value) : -1;
        if (known && row < 0) {
          row = rows().findIndex((one) => !pick(one).value && cells(one).every((cell) => !cell.value));
          if (row < 0 && addRow()) row = rows().length - 1;
          if (row >= 0) pick(rows()[row]).value = known.value;
        }
      } else free += 1;
      const into = row >= 0 && rows()[row] ? cells(rows()[row]) : [];
      numbers.forEach((number, n) => {
        if (number === "") return;
        if (into[here.set + n]) { into[here.set + n].value = number; put += 1; } else lost.push((name + " " + number).trim());
      });
    }
    full();
    document.getElementById("pasted").textContent = put + (put === 1 ? " number" : " numbers") + " pasted."
      + (lost.length ? " No room or no pest for: " + lost.join(", ") + "." : "");
    grid.dispatchEvent(new Event("input", { bubbles: true }));
  });
  window.deskRoom = makeRoom;
})();

// What is wrong is read first.
document.querySelector(".trouble")?.focus();
