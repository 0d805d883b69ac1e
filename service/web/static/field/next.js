// The next tree: its number, where it stands, which way; what else can be done from here.
"use strict";

import { button, h, line, title, treeName } from "./dom.js";
import { planMap } from "./plan_map.js";
import { nextTree, ours, turnTo, wayTo } from "./sheet.js";
import { t } from "./words.js";

export async function show(place, state, go) {
  if (!state.pack) { place.append(title(t("welcome", { crew: state.me.crew })), line(t("no_pack"))); return waitForPack(go); }
  const tree = nextTree(state);
  if (state.pack.round.status === "planned") place.append(line(t("not_begun"), "big"));
  const count = ours(state).length, done = ours(state).filter((one) => state.done.has(one.id)).length;
  place.append(line(t("of_team", { crew: state.me.crew, done, num: count }), "hint"));
  if (tree) place.append(...one(tree, state, go));
  else place.append(title(t("all_done")), line(state.pack.map.meeting?.words ? t("meet_at", { words: state.pack.map.meeting.words }) : t("meet")));
  const target = tree ?? state.pack.map.meeting;
  const map = planMap(place, state, { to: target, onTree: (found) => go("measure", { tree_id: found.id }) });
  const ways = [["trees", t("all_trees")], ["new_tree", t("new_tree")], ["see", t("saw")], ["heights", t("heights")], ["hands", t("hands")], ["entries", t("entered")]];
  place.append(h("ul", { class: "rows" }, ways.map(([name, text]) => h("li", {}, button(text, () => go(name, tree && name === "see" ? { tree_id: tree.id } : {}))))));
  const told = () => { if (tree) turn(place, state, tree); };
  addEventListener("here", told);
  told();
  return () => { map.close(); removeEventListener("here", told); };
}

function one(tree, state, go) {
  const skip = () => {
    state.skipped.add(tree.id);
    go.instead("next");
  };
  return [
    title(treeName(tree)),
    tree.role === "practice" && line(t("practice")),
    line([tree.name, tree.where].filter(Boolean).join(" · ")),
    h("p", { class: "way" }, h("span", { class: "arrow", "aria-hidden": "true", hidden: true }, "↑"), h("span", {}, wayTo(state, tree) ?? "")),
    h("div", { class: "acts" }, button(t("measure_it"), () => go("measure", { tree_id: tree.id }), "main"), button(t("another_first"), skip, "quiet")),
  ].filter(Boolean);
}

function turn(place, state, tree) {
  const [arrow, words] = place.querySelector(".way").children;
  const degrees = turnTo(state, tree);
  words.textContent = wayTo(state, tree) ?? "";
  arrow.hidden = degrees === null;
  if (degrees !== null) arrow.style.transform = `rotate(${Math.round(degrees)}deg)`;
}

function waitForPack(go) {
  const came = () => go.instead("next");
  addEventListener("pack", came, { once: true });
  return () => removeEventListener("pack", came);
}
