// A tree that cannot be measured as it is: not found, looks dead, only a stump. A manager settles it.
"use strict";

import { button, h, line, title, treeName } from "./dom.js";
import { treeOf } from "./sheet.js";
import { t } from "./words.js";

export const saysWords = (said) => t(`says_${said.replace(/\W+/g, "_")}`);

export async function show(place, state, go) {
  const { tree_id = null, tag = null, says } = state.args;
  const say = async () => {
    await go.entered("status", { ...(tree_id ? { tree_id } : { tag }), says });
    go.instead("next");
  };
  const name = tree_id ? treeName(treeOf(state, tree_id)) : t("tree", { tag });
  place.append(title(`${name}: ${saysWords(says)}`), line(t("says_hint")),
    h("div", { class: "acts" }, button(t("says_it"), say, "main"), button(t("back"), () => go.back(), "quiet")));
}
