/* In the grid Enter and the arrow keys go from row to row; the form is sent by its button only. */
"use strict";

(() => {
  for (const table of document.querySelectorAll("table[data-grid]")) {
    table.addEventListener("keydown", (event) => {
      const step = { Enter: 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (!step || event.target.tagName !== "INPUT") return;
      event.preventDefault();
      const cell = event.target.closest("td");
      const rows = [...table.tBodies[0].rows];
      const row = rows[rows.indexOf(cell.parentElement) + step];
      const field = row?.cells[cell.cellIndex].querySelector("input");
      field?.focus();
      field?.select();
    });
  }
})();
