// The frame of the phone page. A screen is a module with
//     export async function show(place, state, go)
//   place   an empty element that the screen fills (dom.js makes elements: h, button, field, oneOf, anyOf ...)
//   state   what the page knows: .name and .args of the screen that is shown; .me, who is measuring here
//           ({token, ends_at, crew, kind, site, round, site_name, round_name}, null before joining); .pack (made by
//           service/field_pack.py; null before it came); .items, what was entered (keep.js);
//           .here ({x, y, lon_deg, lat_deg, accuracy_m} or null, null where the device gives no place);
//           .closed, .done, ids of trees that are closed for this team, or done
//   go      go(name, args) shows another screen, go.back() the one before; args must be plain data.
//           go.entered(kind, content, id) puts something into the outbox before anything else and returns the
//           item; await it before the screen says so. Danger has its own: go("danger", {tree_id, x, y}).
// What show returns, if it is a function, runs when the screen is left. Texts: t("key", {place}) of words.js,
// rows in service/web/field_words.py. Names of screens stand in SCREENS; every screen makes its own <h1 tabindex="-1">
// (dom.js title()). Screens that need a team are shown after joining only.
//
// measure.js asks awkward.js for awkwardBox(state, tree, stem): an element whose .content has what it adds to a
// reading ({awkward, side, tilt_deg, height_m} or less). hands.js keeps ids of calibrations by keep.set("hands",
// {"hand breadths": id}). measure.js goes to "photo" with {subject, subject_id, kind}; to "see", "heights" with
// {tree_id}; trees.js to "new_tree" with {tag}. The pad with goes, two axes and sighting is size_pad.js.
"use strict";

import { button, h, line } from "./dom.js";
import * as keep from "./keep.js";
import { follow } from "./locate.js";
import { fetchPack, hello, onHeard, send } from "./send.js";
import { doneTrees } from "./sheet.js";
import { t } from "./words.js";

const SCREENS = {
  join: "./join.js",
  next: "./next.js",
  trees: "./trees.js",
  measure: "./measure.js",
  says: "./says.js",
  danger: "./danger.js",
  entries: "./entries.js",
  new_tree: "./new_tree.js",
  hands: "./hands.js",
  see: "./see.js",
  heights: "./heights.js",
  photo: "./photo.js",
};
const WITHOUT_TEAM = new Set(["join", "danger", "entries"]);
const CLOCK_LIMIT_MS = 10 * 60 * 1000;

export const state = { name: null, args: {}, me: null, pack: null, items: [], here: null, closed: new Set(), done: new Set(), skipped: new Set(), clock: 0, room: "room", needs: null };

const main = document.getElementById("main");
const notes = document.getElementById("notes");
let leave = null;
let turn = 0;

async function show(name, args) {
  if (!state.me && !WITHOUT_TEAM.has(name)) [name, args] = ["join", {}];
  const mine = (turn += 1);
  const module = await import(SCREENS[name]);
  if (mine !== turn) return;
  leave?.();
  Object.assign(state, { name, args });
  const place = h("div", { class: `screen ${name}` });
  leave = null;
  const after = await module.show(place, state, go);
  if (mine !== turn) { after?.(); return; }
  if (typeof after === "function") leave = after;
  main.replaceChildren(place);
  main.dataset.screen = name;
  document.body.classList.toggle("first", name === "next" || name === "join");
  scrollTo(0, 0);
  if (mine > 1) (place.querySelector("h1") ?? main).focus?.();
  say();
}

export function go(name, args = {}) {
  history.pushState({ name, args, depth: (history.state?.depth ?? 0) + 1 }, "");
  return show(name, args);
}

// Another screen in the place of this one, so that "back" does not come here again.
go.instead = (name, args = {}) => {
  history.replaceState({ name, args, depth: history.state?.depth ?? 0 }, "");
  return show(name, args);
};

go.back = () => (history.state?.depth ? history.back() : go.instead("next"));

go.entered = async (kind, content, id) => {
  const item = await keep.enter(kind, content, { id, me: state.me });
  state.room = item.at === "disk" ? state.room : "full";
  await changed();
  send();
  return item;
};

go.joined = async (me) => {
  state.me = me;
  await keep.set("me", me).catch(() => {});
  await refresh();
  follow(state);
  send(true);
};

// --- what is in sight on every screen ---------------------------------------------------------------------

function say() {
  const unsent = state.items.filter(keep.isUnsent).length;
  const shown = document.getElementById("unsent");
  shown.textContent = unsent ? t("unsent", { num: unsent }) : t("all_sent");
  shown.classList.toggle("some", unsent > 0);
  document.getElementById("back").hidden = state.name === "next" || (state.name === "join" && !state.me);
  notes.replaceChildren(...hints());
}

function hints() {
  const off = Math.abs(state.clock);
  return [
    keep.inMemoryOnly() > 0 && line(t("in_memory", { num: keep.inMemoryOnly() }), "warn"),
    state.room === "full" && line(t("full"), "warn"),
    state.room === "little" && line(t("little_room"), "warn"),
    state.needs === "word" && h("div", { class: "warn" }, line(t("word_ended")), button(t("enter_word"), () => go("join"))),
    state.needs && state.needs !== "word" && line(state.needs, "warn"),
    off > CLOCK_LIMIT_MS && line(t("clock_off", { num: Math.round(off / 60000) }), "warn"),
    state.waiting && h("div", { class: "warn" }, line(t("new_version")), button(t("load_it"), loadNew, "quiet")),
    !("serviceWorker" in navigator) && line(t("plain_http"), "hint"),
    !isSecureContext && line(t("no_gps"), "hint"),
    state.room === "none" && line(t("no_database"), "warn"),
    state.me && line(t("stays_here"), "hint"),
  ].filter(Boolean);
}

async function refresh() {
  if (!state.me) return;
  const pack = await fetchPack(state.me);
  if (pack && JSON.stringify(pack) !== JSON.stringify(state.pack)) {
    state.pack = pack;
    worked();
    dispatchEvent(new Event("pack"));
  }
  say();
}

function worked() {
  const mine = state.items.filter((item) => item.kind === "danger" && item.content.tree_id && item.round === (state.me?.round ?? null)).map((item) => item.content.tree_id);
  state.closed = new Set([...(state.pack?.trees ?? []).filter((tree) => tree.closed).map((tree) => tree.id), ...mine]);
  state.done = doneTrees(state);
}

async function changed() {
  state.items = await keep.items();
  worked();
  say();
  dispatchEvent(new Event("items"));
}

// --- the worker that keeps the page for without a network --------------------------------------------------

async function work() {
  if (!("serviceWorker" in navigator)) return;
  try {
    const known = await navigator.serviceWorker.register("/field/sw.js", { scope: "/field/" });
    const seen = () => { state.waiting = known.active ? known.waiting : null; say(); };
    known.addEventListener("updatefound", () => known.installing?.addEventListener("statechange", seen));
    seen();
    addEventListener("visibilitychange", () => { if (!document.hidden) known.update().catch(() => {}); });
  } catch { /* a certificate that was clicked through: the page works, but only while it is open */ }
}

// Only the tab in which somebody asked for it starts anew; others go on with the scripts they have.
function loadNew() {
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload());
  state.waiting.postMessage("now");
}

// Another language is another version of the page: the worker comes anew with it, where there is a connection.
async function speak(event) {
  const link = event.target.closest("a");
  if (!link || !("serviceWorker" in navigator)) return;
  event.preventDefault();
  try {
    await fetch(link.href);
    await (await navigator.serviceWorker.getRegistration("/field/"))?.unregister();
    location.assign(link.href);
  } catch { /* no connection: it stays as it is */ }
}

// --- start ------------------------------------------------------------------------------------------------

async function start() {
  document.getElementById("back").addEventListener("click", () => go.back());
  document.getElementById("unsent").addEventListener("click", () => go("entries"));
  document.getElementById("danger").addEventListener("click", () => go("danger", { tree_id: state.args.tree_id ?? null }));
  document.getElementById("languages").addEventListener("click", speak);
  addEventListener("popstate", (event) => location.hash || show(event.state?.name ?? "next", event.state?.args ?? {}));
  onHeard((news) => {
    Object.assign(state, news);
    say();
  });
  const [me, pack, clock, items] = await Promise.all([keep.get("me"), keep.get("pack"), keep.get("clock"), keep.items()]);
  Object.assign(state, { me, pack, items, clock: clock ?? 0 });
  worked();
  keep.watch(changed);
  saidByAddress();
  addEventListener("hashchange", () => { if (saidByAddress()) show(history.state.name, history.state.args); });
  await show(history.state?.name ?? "next", history.state?.args ?? {});
  document.documentElement.dataset.ready = "yes";
  await afterwards();
}

// The word of a slip that was scanned: /field/#green-heron; the code of a tag: /field/#t/K4R-7HXMP.
function saidByAddress() {
  let said = "";
  try { said = decodeURIComponent(location.hash.slice(1)); } catch { /* no address of ours */ }
  const [, code] = /^t\/(.{1,80})$/.exec(said) ?? [];
  const word = said.replace(/[-+]/g, " ").trim();
  if (code) history.replaceState({ name: "trees", args: { find: code } }, "", location.pathname);
  else if (word) history.replaceState({ name: "join", args: { word } }, "", location.pathname);
  return Boolean(word);
}

async function afterwards() {
  addEventListener("beforeunload", (event) => { if (keep.inMemoryOnly()) event.preventDefault(); });
  await Promise.all(Object.values(SCREENS).map((file) => import(file).catch(() => {})));
  work();
  if (state.me) follow(state);
  addEventListener("online", () => send(true));
  addEventListener("visibilitychange", () => { if (!document.hidden) { makeRoom(); refresh(); send(true); } });
  navigator.storage?.persist?.().catch(() => {});
  await makeRoom();
  keep.tidy(state.me?.round ?? null).catch(() => {});
  await hello();
  await refresh();
  send(true);
}

// Looks whether the phone takes more; what lay beside the database goes into it.
async function makeRoom() {
  state.room = await keep.room();
  if (state.room === "room" || state.room === "little") await keep.settle();
  say();
}

start();
