/* Looks the page up again now and then and puts what is new into its place; without this script it reloads by hand. */
"use strict";

(() => {
  const EVERY_MS = 20000;
  const again = async () => {
    const here = document.querySelector("[data-live]");
    if (document.hidden || !here || here.contains(document.activeElement)) return;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      if (!answer.ok) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const news = page.querySelector("[data-live]");
      if (news && news.textContent !== here.textContent) here.replaceChildren(...news.childNodes);
    } catch { /* no network: what is seen stays */ }
  };
  setInterval(again, EVERY_MS);
})();
