/* Clicks on a plan image fill the field that was chosen last, then the next one. */
"use strict";

(() => {
  const picture = document.getElementById("plan");
  const marks = document.getElementById("marks");
  const said = document.getElementById("at");
  const spots = [...document.querySelectorAll("[data-spot]")];
  const visible = (field) => field.offsetParent !== null;
  let chosen = null;

  const choose = (field) => {
    chosen = field;
    said.textContent = field ? field.dataset.spot : "";
  };

  const draw = () => {
    marks.replaceChildren();
    const size = picture.naturalWidth / 60;
    for (const field of spots.filter(visible)) {
      const at = field.value.split(",").map(Number.parseFloat);
      if (at.length !== 2 || !at.every(Number.isFinite)) continue;
      const cross = document.createElementNS("http://www.w3.org/2000/svg", "path");
      cross.setAttribute("d", `M${at[0] - size} ${at[1]}h${2 * size}M${at[0]} ${at[1] - size}v${2 * size}`);
      const text = document.createElementNS("http://www.w3.org/2000/svg", "text");
      text.setAttribute("x", at[0] + size * 0.4);
      text.setAttribute("y", at[1] - size * 0.4);
      text.setAttribute("font-size", size * 1.3);
      text.textContent = field.dataset.spot;
      marks.append(cross, text);
    }
  };

  const next = () => {
    const shown = spots.filter(visible);
    choose(shown.slice(shown.indexOf(chosen) + 1).find((field) => !field.value) ?? null);
  };

  for (const field of spots) {
    field.addEventListener("focus", () => choose(field));
    field.addEventListener("input", draw);
  }
  picture.addEventListener("click", (event) => {
    if (!chosen) return;
    const box = picture.getBoundingClientRect();
    const across = ((event.clientX - box.left) / box.width) * picture.naturalWidth;
    const down = ((event.clientY - box.top) / box.height) * picture.naturalHeight;
    chosen.value = `${across.toFixed(1)}, ${down.toFixed(1)}`;
    draw();
    next();
  });
  for (const how of document.querySelectorAll("input[name=how]")) {
    how.addEventListener("change", () => {
      draw();
      choose(spots.find((field) => visible(field) && !field.value) ?? null);
    });
  }
  choose(spots.find(visible) ?? null);
  draw();
})();
