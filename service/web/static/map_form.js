/* A map inside a form: taps belong to the form, and what the marks mean is folded away under the map. */
"use strict";

document.addEventListener("bw-map-ready", (event) => {
  const form = document.querySelector("form[data-frame]");
  if (!form) return;
  const shown = event.detail;
  shown.busy = true;
  const side = shown.section.querySelector(".bw-map-side");
  for (const box of side.querySelectorAll('[data-layer="look"]')) {
    box.checked = false;
    shown.show("look", false);
  }
  const folded = document.createElement("details");
  const summary = document.createElement("summary");
  folded.className = "bw-folded";
  summary.textContent = form.dataset.legend;
  folded.append(summary, ...side.childNodes);
  side.replaceChildren(folded);

  // Where nothing has a place yet, there is nothing to tap on: the page says what to do instead.
  if (shown.doc.bounds === null && !shown.doc.basemap) {
    shown.section.hidden = true;
    document.querySelector(".nowhere").hidden = false;
    form.dataset.nowhere = "yes";
    for (const part of form.querySelectorAll("details[data-numbers]")) part.open = true;
  }
});
