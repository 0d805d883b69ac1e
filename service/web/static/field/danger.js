// A danger: six sights by picture and words, then the card that stops everybody, at once and without a network.
// The report goes into the outbox before the card is shown; what the leader confirms replaces it.
"use strict";

import { anyOf, button, field, h, line, title, treeName } from "./dom.js";
import { deviceTime, today } from "./keep.js";
import { hereNow } from "./locate.js";
import { treeOf } from "./sheet.js";
import { t } from "./words.js";

const SIGHTS = ["hanging or broken branch", "new lean", "lifted or cracked soil", "fresh crack", "large fungus at the foot", "on a wire"];
const DID = ["moved away", "area closed", "called"];
const key = (word) => word.replaceAll(" ", "_");

export async function show(place, state, go) {
  if (state.args.report) return card(place, state, go);
  const tree = treeOf(state, state.args.tree_id);
  place.append(title(t("stop_when")), line(tree ? treeName(tree) : t("danger_anywhere"), "big"),
    sights((sight) => seen(sight, tree, state, go)));
  if (tree) place.append(h("div", { class: "acts" }, button(t("danger_elsewhere"), () => go.instead("danger", { tree_id: null }), "quiet")));
}

// The six sights as buttons; act hears which one was tapped.
export const sights = (act) => h("div", { class: "sights" }, SIGHTS.map((sight) => h("button", { type: "button", class: "quiet", onclick: () => act(sight) },
  h("img", { src: `/static/field/sight-${key(sight)}.svg`, alt: "", width: 96, height: 96 }), h("span", {}, t(`sight_${key(sight)}`)))));

// Reports a sight and shows its card; tag: the number of a tree that is not on the list.
export async function seen(sight, tree, state, go, tag = null) {
  const at = tree ? null : state.args.x !== undefined ? { x: state.args.x, y: state.args.y } : hereNow(state);
  const spot = at && { x: at.x, y: at.y, ...(at.lon_deg === undefined ? {} : { lon_deg: at.lon_deg, lat_deg: at.lat_deg }) };
  const content = { sight, seen_on: today(), ...(tree ? { tree_id: tree.id } : tag ? { tag, place: t("tree", { tag }) } : { ...spot, place: t("place_not_said") }) };
  const item = await go.entered("danger", content);
  await go.instead("danger", { report: item.id, content, tree_id: tree?.id ?? null });
}

function card(place, state, go) {
  const { content, report } = state.args;
  const phone = state.pack?.site.phone ?? null;
  const tree = treeOf(state, content.tree_id);
  const did = anyOf(t("leader_did"), DID.map((word) => [word, t(`did_${key(word)}`)]));
  const called = field(t("leader_called"), {});
  const where = tree ? null : field(t("danger_where"), { hint: t("danger_where_hint") });
  const confirm = async () => {
    if (where && !where.input.value.trim() && content.x === undefined) { where.fault(t("danger_where_missing")); return; }
    if (!did.values.length) { said.textContent = t("leader_missing"); return; }
    const more = { leader_did: did.values, leader_called: called.input.value.trim() || null, leader_at: deviceTime() };
    if (where?.input.value.trim()) more.place = where.input.value.trim();
    await go.entered("danger", { ...content, ...more, supersedes: report, reason: "confirmed by the leader" });
    go.instead("next");
  };
  const said = h("p", { class: "fault", role: "alert" });
  const [before, after] = t("stop_call").split("{phone}");
  place.classList.add("stop");
  place.append(...[title(t("stop")),
    h("p", { class: "big" }, before, /\d/.test(phone) ? h("a", { href: `tel:${phone.replace(/[^+\d]/g, "")}` }, phone) : phone ?? t("sites_number"), after),
    line(`${t(`sight_${key(content.sight)}`)}${tree ? ` (${treeName(tree)})` : ""}`),
    line(t("danger_kept"), "hint"), h("h2", {}, t("for_leader")), did, called, where, said,
    h("div", { class: "acts" }, button(t("leader_confirms"), confirm, "main"))].filter(Boolean));
}
