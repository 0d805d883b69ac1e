// All trees of the team, and every tree of the ground by its number, code, name or nearness.
"use strict";

import { button, field, h, line, title } from "./dom.js";
import { hereNow, metres } from "./locate.js";
import { distance, findTrees, ours } from "./sheet.js";
import { scanButton } from "./which.js";
import { t } from "./words.js";

export async function show(place, state, go) {
  const find = field(t("find"), { hint: t("find_hint"), kind: "search", value: state.args.find ?? "" });
  const list = h("div", { "aria-live": "polite" });
  const fill = () => list.replaceChildren(...found(state, go, find.input.value));
  find.input.addEventListener("input", fill);
  const scan = scanButton((code) => { find.input.value = code; fill(); }, find.fault);
  place.append(title(t("all_trees")), find, scan ? h("div", { class: "acts" }, scan) : "", list);
  fill();
}

function found(state, go, typed) {
  const trees = typed.trim() ? findTrees(state, typed) : ours(state);
  if (!trees.length) {
    return [line(t("no_such_tree", { tag: typed.trim() })), h("div", { class: "acts" },
      button(t("measure_by_number"), () => go("measure", { tag: typed.trim() }), "quiet"), button(t("new_tree"), () => go("new_tree", { tag: typed.trim() }), "quiet"))];
  }
  const same = typed.trim() && trees.length > 1 && trees.every((tree) => tree.tag === trees[0].tag);
  const near = hereNow(state);
  if (near && typed.trim()) trees.sort((a, b) => far(near, a) - far(near, b));
  const around = near && !typed.trim() ? nearest(state, near) : [];
  return [
    same && line(t("which_of", { num: trees.length, tag: trees[0].tag }), "big"),
    rows(trees, state, go, near),
    around.length > 0 && h("h2", {}, t("near_you")),
    around.length > 0 && rows(around, state, go, near),
  ].filter(Boolean);
}

const far = (near, tree) => (tree.x === null ? Infinity : metres(near, tree));

const nearest = (state, near) => state.pack.trees.filter((tree) => far(near, tree) < 30).sort((a, b) => far(near, a) - far(near, b)).slice(0, 8);

function rows(trees, state, go, near) {
  return h("ul", { class: "rows" }, trees.map((tree) => h("li", {}, h("button", { type: "button", onclick: () => go("measure", { tree_id: tree.id }) },
    h("b", {}, tree.tag ?? "–"), h("span", {}, [tree.name, tree.where].filter(Boolean).join(" · ")),
    h("span", { class: "end" }, stateOf(tree, state) ?? (near && tree.x !== null ? distance(state, metres(near, tree)) : ""))))));
}

function stateOf(tree, state) {
  if (state.closed.has(tree.id)) return t("closed");
  return state.done.has(tree.id) ? t("done") : null;
}
