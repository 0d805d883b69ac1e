// Which tree is meant: by its number or short code, or by the QR code of its tag where the browser reads one.
"use strict";

import { button, field, h, line, title, treeName } from "./dom.js";
import { findTrees } from "./sheet.js";
import { t } from "./words.js";

// A button that takes a picture of a tag and tells the code on it; null where the browser cannot read codes.
export function scanButton(told, failed) {
  if (!("BarcodeDetector" in self)) return null;
  const camera = h("input", { type: "file", accept: "image/*", capture: "environment", hidden: true, tabindex: "-1", "aria-label": t("scan") });
  camera.addEventListener("change", async () => {
    try {
      const seen = await new BarcodeDetector({ formats: ["qr_code"] }).detect(await createImageBitmap(camera.files[0]));
      if (!seen.length) throw new Error("none");
      told(seen[0].rawValue.split("/").pop());
    } catch { failed(t("scan_none")); }
    camera.value = "";
  });
  return h("span", {}, button(t("scan"), () => camera.click(), "quiet"), camera);
}

// Fills place with a question for the tree; chosen hears {tree_id}, or {tag} where no tree has that number.
export function whichTree(place, state, heading, chosen) {
  const find = field(t("find"), { hint: t("find_hint") });
  const list = h("ul", { class: "rows", "aria-live": "polite" });
  const one = (text, act) => h("li", {}, button(text, act));
  const fill = () => {
    const typed = find.input.value.trim(), trees = findTrees(state, typed);
    find.fault("");
    list.replaceChildren(...trees.map((tree) => one([treeName(tree), tree.name, tree.where].filter(Boolean).join(" · "), () => chosen({ tree_id: tree.id }))));
    if (typed && !trees.length) list.append(one(t("by_number", { tag: typed }), () => chosen({ tag: typed })));
  };
  const scan = scanButton((code) => { find.input.value = code; fill(); }, (why) => find.fault(why));
  find.input.addEventListener("input", fill);
  place.append(title(heading), line(t("which_tree")), find, scan ? h("div", { class: "acts" }, scan) : "", list);
}
