// A tree: the guess first, then the reading, trunk after trunk; the check runs afterwards and only asks.
// A reading is in the outbox before anything is said of it; measured again, it goes there as another one that
// replaces the first and names what was entered first.
"use strict";

import { awkwardBox } from "./awkward.js";
import { button, h, line, shown, title, treeName } from "./dom.js";
import { check } from "./check.js";
import { get, today } from "./keep.js";
import { figure, sizePad } from "./size_pad.js";
import { heightWords, treeOf, wayTo } from "./sheet.js";
import { hasText, t } from "./words.js";

export async function show(place, state, go) {
  const { tree_id = null, tag = null, n = 0, step = null } = state.args;
  const tree = treeOf(state, tree_id) ?? { id: null, tag, name: null, where: null, x: null, stems: [{ id: null, number: 1 }] };
  if (state.closed.has(tree.id)) { closed(place, tree, go); return; }
  if (step === "said") { said(place, state, tree, go); return; }
  const isStaff = state.pack.crew.kind === "trained staff";
  place.append(title(treeName(tree)), line([tree.name, tree.where].filter(Boolean).join(" · ")), line(wayTo(state, tree) ?? "", "hint"));
  const stem = tree.stems[n] ?? tree.stems[0];
  if (!stem) place.append(line(t("no_trunk")));
  else if (isStaff) await allTrunks(place, state, tree, go);
  else if (step === "read") await reading(place, state, tree, stem, go);
  else guess(place, state, tree, stem, go);
  if (step !== "read") place.append(...others(state, tree, go));
}

function closed(place, tree, go) {
  place.classList.add("stop");
  place.append(title(t("tree_closed", { tree: treeName(tree) })), line(t("keep_away"), "big"), h("div", { class: "acts" }, button(t("go_on"), () => go.instead("next"), "main")));
}

// What else can be said of a tree instead of measuring it.
function others(state, tree, go) {
  const same = tree.id ? { tree_id: tree.id } : { tag: tree.tag };
  const says = state.pack.helper_says.map((word) => button(t(`says_${word.replace(/\W+/g, "_")}`), () => go("says", { ...same, says: word }), "quiet"));
  const more = tree.id ? [button(t("saw"), () => go("see", same), "quiet"), button(t("heights"), () => go("heights", same), "quiet")] : [];
  return [h("h2", {}, t("or_else")), h("div", { class: "acts" }, says, more)];
}

const instrumentOf = (state) => state.pack.round.instrument;
const unitOf = (state) => state.pack.round.unit;
const unitWords = (unit) => (hasText(`unit_${unit}`) ? t(`unit_${unit}`) : unit);

// Which trunk, at what height, on which side it was measured last: never how thick it was.
function how(state, tree, stem) {
  const round = state.pack.round;
  const height = round.height_m ?? stem.height_m ?? state.pack.site.breast_height_m;
  const last = [stem.height_m !== null && stem.height_m !== undefined && t("last_at", { height: heightWords(state, stem.height_m) }),
    stem.side && sideWords(stem.side), ...(stem.awkward ?? []).map(awkwardWords)].filter(Boolean);
  return [
    tree.stems.length > 1 && line(t("trunk_of", { number: stem.number, num: tree.stems.length }), "big"),
    h("div", { class: "how" }, figure(height), h("div", {},
      line(`${t(`instrument_${instrumentOf(state).replaceAll(" ", "_")}`)}, ${unitWords(unitOf(state))}`, "big"), line(t("at_height", { height: heightWords(state, height) })),
      last.length > 0 && line(`${t("last_time")} ${last.join(", ")}`, "hint"))),
  ].filter(Boolean);
}

const sideWords = (side) => (hasText(`side_${side.replaceAll(" ", "_")}`) ? t(`side_${side.replaceAll(" ", "_")}`) : side);

function awkwardWords(fact) {
  const word = fact.replace(/ [\d.]+$/, "").replaceAll(" ", "_");
  return hasText(`fact_${word}`) ? t(`fact_${word}`) : fact;
}

function guess(place, state, tree, stem, go) {
  const pad = sizePad("guess", { label: t("guess_label", { unit: unitWords(unitOf(state)) }) });
  const next = (value) => go("measure", { ...state.args, step: "read", guess: value });
  const guessed = () => { const size = pad.size(); if (size) next(size.value); };
  place.append(...how(state, tree, stem), line(t("guess_first")), asForm([pad], button(t("guess"), () => {}, "main"), guessed));
}

function asForm(parts, send, act, after = null) {
  send.type = "submit";
  const form = h("form", {}, parts, h("div", { class: "acts" }, send), after ?? "");
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (send.disabled) return;
    send.disabled = true;
    Promise.resolve(act()).finally(() => { send.disabled = false; });
  });
  return form;
}

async function reading(place, state, tree, stem, go) {
  const { args } = state;
  const pad = sizePad(instrumentOf(state), { label: t("reading_label", { unit: unitWords(unitOf(state)) }) });
  const more = awkwardBox(state, tree, stem);
  const keep = async () => {
    const size = pad.size();
    if (!size) return;
    const answer = await enter(state, tree, stem, size, { ...more.content, guess: args.guess, first: args.first }, go);
    go.instead("measure", { tree_id: tree.id, tag: tree.tag, n: args.n ?? 0, step: "said", guess: args.guess, ...answer });
  };
  place.append(...how(state, tree, stem), await handsFirst(state, go) ?? "", line(t("level")), asForm([pad], button(t("keep"), () => {}, "main"), keep, more));
  pad.querySelector("input").focus({ preventScroll: true });
}

async function handsFirst(state, go) {
  const isHands = instrumentOf(state).startsWith("hand ");
  if (!isHands || (await get("hands"))?.[instrumentOf(state)]) return null;
  return h("div", {}, line(t("hands_first")), button(t("hands"), () => go("hands"), "quiet"));
}

// Puts a reading into the outbox and returns what is to be said of it.
async function enter(state, tree, stem, size, { guess: guessed = null, first = null, ...more }, go) {
  const { round, site } = state.pack;
  const instrument = instrumentOf(state), calibration = (await get("hands"))?.[instrument];
  const { typed, typed_2 = null, ...said } = size;
  const content = {
    ...(stem.id ? { stem_id: stem.id } : { tag: tree.tag }), ...said, unit: unitOf(state), instrument,
    height_m: round.height_m ?? stem.height_m ?? site.breast_height_m, measured_on: today(), ...more,
    ...(guessed === null ? {} : { first_guess: guessed }), ...(calibration ? { calibration_id: calibration } : {}),
    ...(first ? { supersedes: first.id, first_entry: first.value, reason: "measured again after a question" } : {}),
  };
  const item = await go.entered("reading", content);
  return { reading: item.id, value: said.value, at: item.at, question: asked(stem, { typed, typed_2, quantity: said.quantity, unit: content.unit }, state) };
}

// What the check asks: null where the reading fits, "" where there is nothing to compare it with.
function asked(stem, typed, state) {
  const expected = stem.expect;
  if (!expected) return "";
  let verdict;
  try { verdict = check(typed, expected); } catch { return ""; }
  if (!Number.isFinite(verdict.odds)) return "";
  if (verdict.fits) return expected.scale === "log" ? "" : null; // of a first one only the usual sizes are known
  const why = verdict.explanations[0];
  const range = state.pack.crew.kind === "trained staff" && expected.scale === "plain"
    ? `${t("expected", { low: shown(verdict.low, 1), high: shown(verdict.high, 1), unit: typed.unit })} ` : "";
  return `${range}${why ? question(why, state) : ""}` || t("ask_slip");
}

const OF_ABOUT = new Set(["unit", "girth or width"]);

// An explanation as a question to those who measured; it gives no number away.
function question(why, state) {
  const key = `ask_${(OF_ABOUT.has(why.kind) ? why.about.replace(/^(inches|centimetres|metres|feet) as .*/, "$1") : why.kind).replaceAll(" ", "_")}`;
  if (why.kind === "neighbour") {
    const tree = state.pack.trees.find((one) => one.stems.some((stem) => stem.id === why.about));
    return t(key, { tree: treeName(tree) });
  }
  if (why.kind === "another stem") {
    const stem = state.pack.trees.flatMap((one) => one.stems).find((one) => one.id === why.about);
    return t(key, { number: stem?.number ?? "?" });
  }
  if (why.kind === "another height") return t(key, { height: heightWords(state, Number(why.about)) });
  return hasText(key) ? t(key) : t("ask_slip");
}

function said(place, state, tree, go) {
  const { n = 0, question: asks, reading: id, at, value } = state.args;
  const same = { tree_id: tree.id, tag: tree.tag, n };
  const isLast = n + 1 >= tree.stems.length;
  const next = () => (isLast ? go.instead("next") : go.instead("measure", { ...same, n: n + 1 }));
  const going = isLast ? t("next_tree") : t("next_trunk");
  const photo = button(t("photo_tape"), () => go("photo", { subject: "reading", subject_id: id, kind: "tape" }), "quiet");
  const keeps = line(at === "memory" ? t("kept_in_memory") : t("kept"), at === "memory" ? "warn" : "hint");
  place.append(line(treeName(tree), "hint"));
  if (!asks) {
    place.append(title(asks === null ? t("fits") : t("first_here")), keeps, h("div", { class: "acts" }, button(going, next, "main"), photo));
    return;
  }
  const again = () => go.instead("measure", { ...same, step: "read", guess: state.args.guess, first: { id, value } });
  place.append(title(t("please_check")), line(asks, "big"), keeps,
    h("div", { class: "acts" }, button(t("measure_again"), again, "main"), button(`${t("it_is_so")} ${going}`, next, "quiet"), photo));
}

// One screen for all trunks of a tree, with the last size beside: for trained staff.
async function allTrunks(place, state, tree, go) {
  const pads = tree.stems.map((stem) => sizePad(instrumentOf(state), {
    label: tree.stems.length > 1 ? t("trunk_of", { number: stem.number, num: tree.stems.length }) : t("reading_label", { unit: unitWords(unitOf(state)) }),
    hint: stem.last ? t("last_size", { value: stem.last.value, unit: stem.last.unit, on: stem.last.on ?? "–" }) : null, optional: tree.stems.length > 1,
  }));
  const more = tree.stems.map((stem) => awkwardBox(state, tree, stem));
  const keep = async () => {
    const sizes = pads.map((pad) => pad.size());
    if (sizes.some((size) => size === null) || sizes.every((size) => size === undefined)) return;
    const told = [];
    for (const [n, size] of sizes.entries()) {
      if (size) told.push({ n, ...await enter(state, tree, tree.stems[n], size, more[n].content, go) });
    }
    const odd = told.find((one) => one.question) ?? told.at(-1);
    go.instead("measure", { tree_id: tree.id, tag: tree.tag, step: "said", ...odd, n: odd.question ? odd.n : tree.stems.length - 1 });
  };
  place.append(...how(state, tree, tree.stems[0]).slice(-1), await handsFirst(state, go) ?? "", line(t("level")),
    asForm(tree.stems.flatMap((_stem, n) => [pads[n], more[n]]), button(t("keep"), () => {}, "main"), keep));
}
