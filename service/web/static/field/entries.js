// What was entered on this phone, with where it is now; sending, a file of it, undoing the last.
"use strict";

import { button, h, line, saveAs, title, treeName } from "./dom.js";
import { ASIDE, ASKED, deviceTime, get, items, REFUSED, TAKEN, today, WAITING } from "./keep.js";
import { again } from "./send.js";
import { saysWords } from "./says.js";
import { holding } from "./sheet.js";
import { t } from "./words.js";

const STATES = { [WAITING]: "on_phone", [TAKEN]: "arrived", [ASKED]: "asks", [ASIDE]: "aside", [REFUSED]: "refused" };
const UNDONE = { reading: ["stem_id", "tag"], observation: ["tree_id", "tag", "what"] };

export async function show(place, state, go) {
  const list = h("div", {});
  const fill = () => list.replaceChildren(...rows(state));
  addEventListener("items", fill);
  const last = state.me && lastOf(state.items);
  const sending = button(t("send_now"), async () => {
    sending.disabled = true;
    await again();
    sending.disabled = false;
  }, "main");
  place.append(title(t("entered")), h("div", { class: "acts" }, sending, button(t("save_file"), () => save(state), "quiet"),
    last && button(t("undo", { what: words(last, state) }), () => undo(last, go), "quiet"),
    button(state.me ? t("other_word") : t("enter_word"), () => go("join"), "quiet")), list);
  fill();
  return () => removeEventListener("items", fill);
}

function rows(state) {
  if (!state.items.length) return [line(t("nothing_yet"))];
  const held = new Set(holding(state.items));
  return [h("ul", { class: "rows" }, [...state.items].reverse().map((item) => h("li", { class: "said" },
    h("b", {}, words(item, state)), line([item.recorded_at.slice(11, 16), stateWords(item, state), !held.has(item) && !item.content.void && item.state !== REFUSED && t("replaced")].filter(Boolean).join(" · "), "hint"),
    item.why && line(item.why))))];
}

function stateWords(item, state) {
  const elsewhere = state.me && item.site && item.site !== state.me.site;
  return elsewhere && item.state === WAITING ? t("other_ground", { site: item.site }) : t(`state_${STATES[item.state] ?? "on_phone"}`);
}

// An entry in a few words: which tree, what.
function words(item, state) {
  const { content } = item;
  const tree = state.pack?.trees.find((one) => one.id === content.tree_id || one.stems.some((stem) => stem.id === content.stem_id));
  const name = tree ? treeName(tree) : content.tag ? t("tree", { tag: content.tag }) : t("tree_without");
  if (content.void) return `${name}: ${t("crossed_out")}`;
  if (item.kind === "reading") return `${name}: ${content.parts ?? content.value} ${content.unit}`;
  if (item.kind === "status") return `${name}: ${saysWords(content.says)}`;
  if (item.kind === "danger") return `${t("danger")}: ${content.tree_id ? name : content.place}`;
  if (item.kind === "observation") return `${name}: ${content.value ?? content.text ?? ""} ${content.unit ?? ""} (${t("kind_observation")})`;
  return t(`kind_${item.kind}`);
}

const lastOf = (all) => [...holding(all)].reverse().find((item) => item.kind in UNDONE) ?? null;

async function undo(item, go) {
  const same = Object.fromEntries(UNDONE[item.kind].filter((name) => item.content[name]).map((name) => [name, item.content[name]]));
  await go.entered(item.kind, { ...same, supersedes: item.id, void: true, reason: "undone on the phone" });
  go.instead("entries");
}

async function save(state) {
  const all = (await items()).map(({ kind, id, recorded_at, crew, content, format }) => ({ kind, id, recorded_at, crew, content, format }));
  const site = state.me?.site ?? "ground", crew = state.me?.crew ?? "phone";
  const file = {
    what: "boleward measurements of a phone", format: Math.max(1, ...all.map((item) => item.format)), site, phone: await get("phone"),
    program: document.documentElement.dataset.program, saved_at: deviceTime(), items: all.map(({ format, ...item }) => item),
  };
  saveAs(`${site}-${crew}-${today()}.json`, JSON.stringify(file, null, 1));
}
