// The review page by keyboard: j and k go from question to question, a, s and v settle the one in hand.
// Keys count only while the focus is in the list and not in a field. Without this script the buttons do.
"use strict";
(() => {
  const list = document.querySelector("[data-review]");
  if (!list) return;
  const items = [...list.querySelectorAll("[data-item]")];

  function goTo(index) {
    const item = items[Math.max(0, Math.min(index, items.length - 1))];
    item.focus();
    item.scrollIntoView({ block: "nearest" });
  }

  list.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest("input, select, textarea")) return;
    const item = event.target.closest("[data-item]");
    if (!item) return;
    const at = items.indexOf(item);
    const key = event.key.toLowerCase();
    if (key === "j" || key === "k") {
      event.preventDefault();
      goTo(at + (key === "j" ? 1 : -1));
      return;
    }
    const button = item.querySelector(`[data-key="${CSS.escape(key)}"]`);
    if (!button) return;
    event.preventDefault();
    const value = item.querySelector("[data-value]");
    if ("ask" in button.dataset && value.value === value.defaultValue) {
      value.focus();
      value.select();
      return;
    }
    button.click();
  });

  const said = /^#item-(\d+)$/.exec(location.hash);
  goTo(said ? Number(said[1]) : 0);
})();
