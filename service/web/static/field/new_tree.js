// Trees that are not on the list: first where each stands (place 1, 2, 3 ...), details later. A place waits on this
// phone until its details are there; where the phone cannot keep it so, the tree is entered at once.
"use strict";

import { button, field, h, line, oneOf, title } from "./dom.js";
import { get, set, today, uuid } from "./keep.js";
import { numberField, once } from "./lengths.js";
import { wherePad } from "./where.js";
import { t } from "./words.js";

const MOST_TRUNKS = 60;

export async function show(place, state, go) {
  const walk = (await get("walk")) ?? { day: today(), next: 1, places: [] };
  if (walk.day !== today() && !walk.places.length) Object.assign(walk, { day: today(), next: 1 });
  const { step, tree_id } = state.args;
  const draft = walk.places.find((one) => one.tree_id === tree_id);
  if (step === "where") return where(place, state, go, walk);
  if (step === "details" && draft) return details(place, state, go, walk, draft);
  return list(place, state, go, walk);
}

function list(place, state, go, walk) {
  const { tag } = state.args;
  const all = async () => { for (const one of [...walk.places]) await enter(state, go, walk, one); go.instead("new_tree"); return true; };
  place.append(title(t("new_tree")), line(t("nt_says")), h("div", { class: "acts" },
    button(t("nt_place", { n: walk.next }), () => go("new_tree", { step: "where", tag }), "main")));
  if (!walk.places.length) return;
  place.append(h("h2", {}, t("nt_open")), h("ul", { class: "rows" }, walk.places.map((one) => h("li", {}, h("button", { type: "button", onclick: () => go("new_tree", { step: "details", tree_id: one.tree_id }) },
    h("b", {}, one.tag || t("nt_n", { n: one.n })), h("span", {}, one.name || t("nt_no_details")))))),
  line(t("nt_waits"), "hint"), h("div", { class: "acts" }, button(t("nt_send_all"), once(all), "quiet")));
}

async function where(place, state, go, walk) {
  place.append(title(t("nt_n", { n: walk.next })));
  const pad = await wherePad(place, state);
  const keep = async (at) => {
    const draft = { tree_id: uuid(), n: walk.next, tag: state.args.tag ?? "", at };
    walk.next += 1;
    walk.places.push(draft);
    try { await set("walk", walk); } catch { await enter(state, go, walk, draft); }
    go.instead("new_tree");
    return true;
  };
  const placed = () => { const at = pad.read(); return at && keep(at); };
  place.append(h("div", { class: "acts" }, button(t("nt_keep_place"), once(placed), "main"), button(t("nt_no_place"), once(() => keep(null)), "quiet")));
  return pad.close;
}

function details(place, state, go, walk, draft) {
  const tag = field(t("nt_tag"), { hint: t("nt_tag_hint"), value: draft.tag ?? "" });
  const name = field(t("nt_name"), { hint: t("nt_name_hint"), value: draft.name ?? "" });
  const sure = oneOf(t("nt_sure"), [["sure", t("nt_is_sure")], ["think so", t("nt_thinks")], ["no idea", t("nt_no_idea")]], draft.sure ?? null);
  const trunks = numberField(t("nt_trunks"), { hint: t("nt_trunks_hint"), value: draft.trunks ?? "1" });
  const note = field(t("nt_note"), { value: draft.note ?? "" });
  const twice = h("p", { class: "warn", role: "status" });
  const typed = () => Object.assign(draft, {
    tag: tag.input.value.trim(), name: name.input.value.trim(), sure: sure.value, trunks: trunks.input.value.trim(), note: note.input.value.trim(),
  });
  const say = () => {
    typed();
    const isThere = draft.tag && state.pack.trees.some((tree) => (tree.tag ?? "").trim().toLowerCase() === draft.tag.toLowerCase());
    twice.textContent = isThere ? t("nt_twice", { tag: draft.tag }) : "";
    twice.hidden = !isThere;
  };
  const save = () => { say(); set("walk", walk).catch(() => {}); };
  const done = (then) => once(async () => {
    typed();
    const count = trunks.checked();
    if (count === null || !Number.isInteger(count) || count > MOST_TRUNKS) { trunks.fault(t("nt_trunks_fault", { num: MOST_TRUNKS })); return false; }
    await enter(state, go, walk, draft);
    go.instead(...then);
    return true;
  });
  place.append(title(t("nt_n", { n: draft.n })), tag, twice, name, sure, trunks, note, h("div", { class: "acts" },
    button(t("nt_enter_measure"), done(["measure", { tree_id: draft.tree_id }]), "main"), button(t("nt_enter"), done(["new_tree"]), "quiet"),
    button(t("nt_leaf"), () => go("photo", { subject: "tree", subject_id: draft.tree_id, kind: "leaf" }), "quiet")));
  place.addEventListener("input", save);
  say();
}

// Puts a tree into the outbox, then among the trees of this phone, and only then off the list of open places.
async function enter(state, go, walk, draft) {
  const stems = Array.from({ length: Number(draft.trunks) || 1 }, (_none, n) => ({ id: uuid(), number: n + 1 }));
  const said = { tag: draft.tag, name_as_written: draft.name, name_sure: draft.sure, note: draft.note };
  const given = Object.fromEntries(Object.entries(said).filter(([, value]) => value));
  await go.entered("tree", { tree_id: draft.tree_id, stems, ...given, ...draft.at });
  state.pack.trees.push({
    id: draft.tree_id, tag: draft.tag || null, code: null, name: draft.name || null, where: t("nt_n", { n: draft.n }), x: draft.at?.x ?? null, y: draft.at?.y ?? null,
    accuracy_m: draft.at?.position_accuracy_m ?? null, role: null, order: null, closed: false,
    stems: stems.map((stem) => ({ ...stem, height_m: null, side: null, awkward: [], expect: null })),
  });
  walk.places.splice(walk.places.indexOf(draft), 1);
  await Promise.all([set("pack", state.pack), set("walk", walk)]).catch(() => {});
}
