// Buttons that copy the text beside them; where nothing can be copied it is selected. Without this script
// there are no buttons, and a click on a text selects it whole.
"use strict";
(() => {
  const said = document.querySelector("[data-copied]");
  if (!said) return;

  async function copied(text) {
    try {
      await navigator.clipboard.writeText(text.textContent);
      return true;
    } catch {
      getSelection().selectAllChildren(text);
      return false;
    }
  }

  for (const button of document.querySelectorAll("button[data-copy]")) {
    const word = button.firstElementChild, usual = word.textContent;
    button.hidden = false;
    button.addEventListener("click", async () => {
      const done = await copied(button.parentElement.querySelector("code"));
      said.textContent = done ? said.dataset.copied : said.dataset.selected;
      word.textContent = done ? said.dataset.copied : said.dataset.marked;
      setTimeout(() => { word.textContent = usual; said.textContent = ""; }, 3000);
    });
  }
})();
