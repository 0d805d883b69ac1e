// What was seen of a tree: by pictures and plain words. One of the six dangers goes to its card at once.
"use strict";

import { sights as dangers, seen } from "./danger.js";
import { button, field, h, line, title, treeName } from "./dom.js";
import { today } from "./keep.js";
import { drawing, once } from "./lengths.js";
import { treeOf } from "./sheet.js";
import { whichTree } from "./which.js";
import { t } from "./words.js";

const NONE = "none of these";

export async function show(place, state, go) {
  const { tree_id = null, tag = null } = state.args;
  if (!tree_id && !tag) { whichTree(place, state, t("saw"), (found) => go.instead("see", found)); return; }
  const about = tree_id ? { tree_id } : { tag };
  const { sights } = state.pack, tree = treeOf(state, tree_id);
  const ticks = sights.filter((sight) => !sight.danger && sight.word !== NONE).map((sight) =>
    h("label", { class: "tick" }, h("input", { type: "checkbox", value: sight.word }), drawing(sight.word), h("span", {}, sight.plain)));
  const note = field(t("see_note"), { hint: t("see_note_hint") });
  const fault = h("p", { class: "fault", role: "alert" });
  const ticked = () => ticks.map((tick) => tick.querySelector("input")).filter((box) => box.checked).map((box) => box.value);
  const enter = async (words) => {
    const text = note.input.value.trim();
    for (const what of words) await go.entered("observation", { ...about, what, observed_on: today(), ...(text ? { text } : {}) });
    go.instead("next");
    return true;
  };
  const some = () => { fault.textContent = ticked().length ? "" : t("see_nothing"); return ticked().length ? enter(ticked()) : null; };
  const none = () => { fault.textContent = ticked().length ? t("see_ticked") : ""; return ticked().length ? null : enter([NONE]); };
  place.append(title(t("saw")), line(tree ? treeName(tree) : t("tree", { tag }), "big"),
    h("h2", {}, t("see_danger")), dangers((sight) => seen(sight, tree, state, go, tag)),
    h("fieldset", { class: "seen" }, h("legend", {}, t("see_rest")), ticks), line(t("see_ground"), "hint"), note, fault,
    h("div", { class: "acts" }, button(t("keep"), once(some), "main"), button(sights.find((sight) => sight.word === NONE)?.plain ?? NONE, once(none), "quiet")));
}
