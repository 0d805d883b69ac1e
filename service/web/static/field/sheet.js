// The sheet of this team as it stands on this phone: what is done, what comes next, how to find a tree.
"use strict";

import { bearing, hereNow, metres, wayOf } from "./locate.js";
import { shown } from "./dom.js";
import { REFUSED } from "./keep.js";
import { t } from "./words.js";

// Entries that hold: not crossed out, not measured again.
export function holding(items) {
  const gone = new Set(items.map((item) => item.content.supersedes).filter(Boolean));
  return items.filter((item) => item.state !== REFUSED && !gone.has(item.id) && !item.content.void);
}

// Ids of trees of which each trunk is read or something was said.
export function doneTrees(state) {
  const held = holding(state.items).filter((item) => item.round === state.me?.round);
  const stems = new Set(held.filter((item) => item.kind === "reading").map((item) => item.content.stem_id));
  const said = new Set(held.filter((item) => item.kind === "status").map((item) => item.content.tree_id));
  const isDone = (tree) => said.has(tree.id) || (tree.stems.length > 0 && tree.stems.every((stem) => stems.has(stem.id)));
  return new Set((state.pack?.trees ?? []).filter(isDone).map((tree) => tree.id));
}

export const ours = (state) => state.pack.trees.filter((tree) => tree.order !== null).sort((a, b) => a.order - b.order);

export function nextTree(state) {
  const left = ours(state).filter((tree) => !state.done.has(tree.id) && !state.closed.has(tree.id));
  return left.find((tree) => !state.skipped.has(tree.id)) ?? left[0] ?? null;
}

export const treeOf = (state, id) => state.pack?.trees.find((tree) => tree.id === id) ?? null;

const plain = (text) => (text ?? "").trim().toLowerCase().replace(/\s+/g, " ");

// Trees with a number or short code; else those whose number or name begins so.
export function findTrees(state, typed) {
  const said = plain(typed), code = tagCode(said);
  if (!said) return [];
  const { trees } = state.pack;
  const exact = trees.filter((tree) => plain(tree.tag) === said || tree.code === code);
  return exact.length ? exact : trees.filter((tree) => plain(tree.tag).startsWith(said) || plain(tree.name).includes(said)).slice(0, 30);
}

// The tree's part of what stands on a tag, with letters that were taken for others put right.
const TAKEN_FOR = { 0: "D", O: "D", Q: "D", 1: "L", I: "L", Z: "2", S: "5", B: "8", G: "6", U: "V" };
const tagCode = (said) => said.toUpperCase().split("-").pop().replace(/[0OQ1IZSBGU]/g, (letter) => TAKEN_FOR[letter]);

// From where a tree is looked for: the device, else the tree that was entered last, else the meeting point.
export function standing(state) {
  const me = hereNow(state);
  if (me) return { ...me, words: null };
  const last = [...state.items].reverse().map((item) => treeOf(state, item.content.tree_id ?? stemTree(state, item.content.stem_id))).find((tree) => tree && tree.x !== null);
  if (last) return { x: last.x, y: last.y, words: t("from_tree", { tag: last.tag ?? "?" }) };
  const { meeting } = state.pack.map;
  return meeting && meeting.x !== null ? { x: meeting.x, y: meeting.y, words: t("from_meeting") } : null;
}

const stemTree = (state, id) => (id ? state.pack.trees.find((tree) => tree.stems.some((stem) => stem.id === id))?.id : null);

// "about 35 m to the north-east", with where from unless it is the device itself; null where nothing is known.
export function wayTo(state, tree) {
  const from = tree.x === null ? null : standing(state);
  if (!from) return null;
  const far = metres(from, tree);
  if (far < 3) return from.words ? t("beside", { from: from.words }) : t("here");
  const said = t("way", { far: distance(state, far), way: t(`way_${wayOf(bearing(from, tree))}`) });
  return from.words ? `${from.words}: ${said}` : said;
}

export function distance(state, far) {
  const us = state.pack.site.units === "us";
  const value = us ? far / 0.3048 : far;
  return `${shown(value < 20 ? value : Math.round(value / 5) * 5)} ${us ? "ft" : "m"}`;
}

// How much a tree lies to the right of where the device looks [degrees]; null where it does not say so.
export function turnTo(state, tree) {
  const me = hereNow(state);
  return me && tree.x !== null && Number.isFinite(state.heading) ? bearing(me, tree) - state.heading : null;
}

// A height of measuring as people say it: 1.30 m, or 4 ft 6 in.
export function heightWords(state, height) {
  if (state.pack.site.units !== "us") return `${shown(height, 2)} m`;
  const tenths = Math.round(height / 0.3048 * 120);
  const inches = (tenths % 120) / 10;
  return `${Math.floor(tenths / 120)} ft${inches ? ` ${inches} in` : ""}`;
}
