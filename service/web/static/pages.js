// Forms say that they are at work, and how far long work has come. Without this script they work as well.
"use strict";
(() => {
  for (const input of document.querySelectorAll("[data-time-zone]")) {
    input.value = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";
  }

  async function follow(address, bar) {
    for (;;) {
      await new Promise((resolve) => setTimeout(resolve, 700));
      try {
        const answer = await fetch(address);
        const { done, rows } = await answer.json();
        if (rows > 0) { bar.max = rows; bar.value = done; }
      } catch { return; }
    }
  }

  for (const form of document.querySelectorAll("form[data-busy]")) {
    form.addEventListener("submit", () => {
      const said = document.createElement("p");
      said.setAttribute("role", "status");
      said.append(form.dataset.busy);
      if (form.dataset.progress) {
        const bar = document.createElement("progress");
        bar.setAttribute("aria-label", form.dataset.busy);
        said.append(" ", bar);
        follow(form.dataset.progress, bar);
      }
      form.append(said);
      setTimeout(() => { for (const button of form.querySelectorAll("button")) button.disabled = true; });
    });
  }

  addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
})();
