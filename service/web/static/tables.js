// Small tables sort, filter and leave as CSV in the browser. Without this script they are plain tables.
"use strict";
(() => {
  const collator = new Intl.Collator(document.documentElement.lang, { numeric: true, sensitivity: "base" });
  const RUNS = /^'*\s*[=+\-@\t\r\n]/;
  const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i;

  const raw = (cell) => (cell.dataset.v !== undefined ? cell.dataset.v : cell.textContent.replace(/\s+/g, " ").trim());
  const missing = (text) => text === "" || text === "None" || text === "nan" || text === "<NA>" || text === "–";

  function compare(a, b, numeric) {
    if (missing(a) || missing(b)) return missing(a) - missing(b);
    return numeric ? Number(a) - Number(b) : collator.compare(a, b);
  }

  function sortBy(table, index, th) {
    const descending = th.getAttribute("aria-sort") === "ascending";
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    th.setAttribute("aria-sort", descending ? "descending" : "ascending");
    const body = table.tBodies[0];
    for (const head of body.querySelectorAll("tr[data-head]")) head.remove(); // rows of all parts mix
    const rows = [...body.rows].filter((row) => !("fixed" in row.dataset));
    const values = new Map(rows.map((row) => [row, raw(row.cells[index])]));
    const numeric = [...values.values()].every((text) => missing(text) || Number.isFinite(Number(text)));
    rows.sort((x, y) => {
      const a = values.get(x), b = values.get(y);
      const order = compare(a, b, numeric);
      return descending && !missing(a) && !missing(b) ? -order : order;
    });
    body.append(...rows);
  }

  function filter(table, said) {
    const words = said.toLocaleLowerCase().split(/\s+/).filter(Boolean);
    for (const row of table.tBodies[0].rows) {
      if ("head" in row.dataset) { row.hidden = words.length > 0; continue; }
      const text = row.textContent.toLocaleLowerCase();
      row.hidden = !("fixed" in row.dataset) && !words.every((word) => text.includes(word));
    }
  }

  // A cell that a spreadsheet would run as a formula gets a quote in front; real numbers stay as they are.
  function csvCell(text) {
    const guarded = RUNS.test(text) && !NUMBER.test(text) ? "'" + text : text;
    return /[",\r\n]/.test(guarded) ? '"' + guarded.replaceAll('"', '""') + '"' : guarded;
  }

  function asCsv(table) {
    const heads = [...table.tHead.rows[0].cells];
    const kept = heads.map((th, i) => i).filter((i) => !("plain" in heads[i].dataset));
    const lines = [kept.map((i) => csvCell(heads[i].dataset.col ?? raw(heads[i])))];
    for (const row of table.tBodies[0].rows) {
      if (row.hidden || "head" in row.dataset) continue;
      lines.push(kept.map((i) => { const text = raw(row.cells[i]); return csvCell(missing(text) ? "" : text); }));
    }
    return lines.map((cells) => cells.join(",")).join("\r\n") + "\r\n";
  }

  function takeOut(table) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob(["\ufeff", asCsv(table)], { type: "text/csv;charset=utf-8" }));
    link.download = table.dataset.ledger + ".csv";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }

  function tools(table) {
    const box = document.createElement("div");
    box.className = "tools screen";
    if (table.tBodies[0].rows.length > 7) {
      const label = document.createElement("label");
      label.textContent = table.dataset.filter + " ";
      const input = document.createElement("input");
      input.type = "search";
      input.addEventListener("input", () => filter(table, input.value));
      label.append(input);
      box.append(label);
    }
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = table.dataset.take;
    button.addEventListener("click", () => takeOut(table));
    box.append(button);
    (table.closest(".scroll") ?? table).before(box);
  }

  for (const table of document.querySelectorAll("table[data-ledger]")) {
    if (!table.tHead || !table.tBodies.length) continue;
    tools(table);
    [...table.tHead.rows[0].cells].forEach((th, index) => {
      if ("plain" in th.dataset) return;
      const button = document.createElement("button");
      button.type = "button";
      button.append(...th.childNodes);
      button.addEventListener("click", () => sortBy(table, index, th));
      th.append(button);
    });
  }
})();
