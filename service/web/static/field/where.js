// Where a tree stands, by one of six ways. What is computed is positions.js; this asks for it and shows it on the map.
"use strict";

import { button, h, line, oneOf } from "./dom.js";
import { get, set } from "./keep.js";
import { choice, drawing, lengthField, lengthSaid, numberField } from "./lengths.js";
import { metresOf } from "./locate.js";
import { planMap } from "./plan_map.js";
import * as fixing from "./positions.js";
import { t } from "./words.js";

const TAP = "tap on plan", GPS = "GPS", GPS_MS = 20000, MOST_KNOWN = 40;
const CORNER_M = 0.5; // a corner of a house on a plan: common practice, no source
const METRES = "metres", NUMBER = "number", SIGNED = "signed";

// What each way asks for, under the names that its rule has for it.
const WAYS = {
  [TAP]: {},
  "two tapes": { points: ["a", "b"], fields: { from_a_m: METRES, from_b_m: METRES }, sided: true, rule: fixing.twoTapes },
  "baseline and offset": { points: ["a", "b"], fields: { along_m: METRES, off_m: METRES }, sided: true, rule: fixing.alongAndOff },
  "bearing and distance": { points: ["a"], fields: { bearing_deg: NUMBER, distance_m: METRES, declination_deg: SIGNED }, rule: fixing.bearingAndDistance },
  paces: { points: ["a", "b"], fields: { along: NUMBER, off: NUMBER }, sided: true, counted: true, rule: fixing.alongAndOffInPaces },
  [GPS]: {},
};
const key = (word) => word.replaceAll(" ", "_").toLowerCase();
const cm = (value) => Number(value.toFixed(2));

// Fills place. read() of what comes back gives {x, y, position_source, position_accuracy_m, how, ...}, or null after
// saying what lacks; close() ends it.
export async function wherePad(place, state) {
  const form = h("div"), told = h("p", { class: "big", "aria-live": "polite" }), fault = h("p", { class: "fault", role: "alert" });
  const marks = [], counts = await get("pace");
  const desk = { state, taps: [], counts, tapped: null, say: () => say() };
  const ways = h("fieldset", { class: "ways" }, h("legend", {}, t("pos_way")), Object.keys(WAYS).map((way) => h("label", {},
    h("input", { type: "radio", name: "way", value: way, checked: way === TAP }), drawing(way), h("span", {}, t(`pos_${key(way)}`)))));
  place.append(ways, form, told, fault);
  const map = planMap(place, state, { marks, onTap: (spot) => { tap(desk, ask, spot); say(); } });
  let way = TAP, ask;
  const say = () => {
    const { fix, both } = ask.found();
    fault.textContent = "";
    told.textContent = !fix ? "" : fix.fault ? t(`pos_fault_${key(fix.fault)}`) : t("pos_known", { far: lengthSaid(state, fix.accuracy_m) });
    const trees = fix?.x_m !== undefined ? [[fix, "pos_here"]] : both ? [[both.left, "pos_left"], [both.right, "pos_right"]] : [];
    marks.splice(0, marks.length, ...desk.taps, ...trees.map(([one, words]) => ({ x: one.x_m, y: one.y_m, words: t(words) })));
    map.redraw();
  };
  const choose = () => {
    ask?.close?.();
    way = ways.querySelector("input:checked").value;
    ask = way === TAP ? tapAsk(desk) : way === GPS ? gpsAsk(desk) : measuredAsk(desk, WAYS[way]);
    form.replaceChildren(line(t(`pos_${key(way)}_says`)), ...ask.nodes);
    say();
  };
  ways.addEventListener("change", choose);
  form.addEventListener("input", say);
  form.addEventListener("change", say);
  choose();
  return {
    close: () => { ask.close?.(); map.close(); },
    read() {
      const { fix, how, more } = ask.found();
      for (const one of ask.nodes) one.checked?.();
      fault.textContent = fix ? "" : t("pos_missing");
      if (!fix || fix.fault) return null;
      return { x: cm(fix.x_m), y: cm(fix.y_m), ...more, position_source: way, position_accuracy_m: cm(fix.accuracy_m), how: { method: way, ...how } };
    },
  };
}

// A finger on the map: the tree itself, or a corner to measure from.
function tap(desk, ask, spot) {
  const scale = Math.round(fixing.scaleOf(spot.metres_per_px)), fix = fixing.tapped({ x_m: spot.x, y_m: spot.y, scale });
  if (!ask.points) { desk.tapped = { fix, how: { scale } }; return; }
  const n = desk.taps.length + 1, corner = { id: `corner ${n}`, x: spot.x, y: spot.y, accuracy_m: fix.accuracy_m, words: t("pos_corner", { n }) };
  desk.taps.push(corner);
  ask.points(corner);
}

const tapAsk = (desk) => ({ nodes: [], found: () => desk.tapped ?? {} });

// Points whose place is known: corners that were tapped, those of the pack, the nearest trees with an accuracy.
function knownPoints({ state, taps }) {
  const { map, trees } = state.pack, [x0, y0, x1, y1] = map.box;
  const from = taps.at(-1) ?? state.here ?? { x: (x0 + x1) / 2, y: (y0 + y1) / 2 };
  const far = (tree) => Math.hypot(tree.x - from.x, tree.y - from.y);
  const near = trees.filter((tree) => tree.x !== null && tree.tag && tree.accuracy_m !== null).sort((a, b) => far(a) - far(b)).slice(0, MOST_KNOWN);
  return [...taps, ...map.known.map((spot) => ({ ...spot, id: `known ${spot.name}`, words: spot.name })),
    ...near.map((tree) => ({ ...tree, words: [t("tree", { tag: tree.tag }), tree.where].filter(Boolean).join(" · ") }))];
}

// Picks one of the known points; a new corner is taken by the first pick that is open.
function pick(desk, name) {
  let points = knownPoints(desk);
  const named = () => [["", t("pos_choose")], ...points.map((point) => [point.id, point.words])];
  const whole = choice(t(`pos_point_${name}`), named());
  whole.point = () => points.find((point) => point.id === whole.chosen()) ?? null;
  whole.again = (corner) => {
    const now = whole.point() ?? corner;
    points = knownPoints(desk);
    if (now && !points.some((point) => point.id === now.id)) points.push(now);
    whole.fill(named(), now?.id);
  };
  return whole;
}

function measuredAsk(desk, { points, fields, sided = false, counted = false, rule }) {
  const picks = points.map((name) => pick(desk, name));
  const asked = Object.entries(fields).map(([name, kind]) => [name, kind === METRES ? lengthField(desk.state, t(`pos_${name}`))
    : numberField(t(`pos_${name}`), { signed: kind === SIGNED, optional: kind === SIGNED, hint: kind === NUMBER && !counted || kind === SIGNED ? t(`pos_${name}_hint`) : null })]);
  const side = sided && oneOf(t("pos_side"), [["left", t("pos_left")], ["right", t("pos_right")]]);
  const pace = counted && paceBox(desk);
  return {
    nodes: [pace, ...picks, line(t("pos_corners"), "hint"), ...asked.map(([, one]) => one), side].filter(Boolean),
    points(corner) {
      const open = picks.find((one) => !one.chosen());
      for (const one of picks) one.again(one === open ? corner : null);
    },
    found() {
      const given = Object.fromEntries(asked.map(([name, one]) => [name, one.number()]));
      points.forEach((name, n) => { const at = picks[n].point(); given[name] = at && [at.x, at.y, at.accuracy_m ?? CORNER_M]; });
      if (sided) given.side = side.value;
      if (counted) given.counts = desk.counts;
      const lacks = Object.keys(given).filter((name) => given[name] === null && fields[name] !== SIGNED);
      if (lacks.some((name) => name !== "side")) return {};
      const both = rule === fixing.twoTapes ? rule(given) : null, fix = both && !both.fault ? both[given.side] : both;
      return { both: both?.left && both, fix: fix ?? (both || lacks.length ? null : rule(given)), how: { ...given, from: picks.map((one) => one.point().words), ...(counted && { walked_m: fixing.CALIBRATED_OVER_M }) } };
    },
  };
}

// The team's own pace, counted over a known way and kept for the next tree.
function paceBox(desk) {
  const walks = Array.from({ length: fixing.FEWEST_WALKS }, (_none, n) => numberField(t("pos_walk", { n: n + 1 }), { value: desk.counts?.[n] ?? "" }));
  const box = h("details", { open: !desk.counts }, h("summary", {}, t("pos_own_pace")), line(t("pos_own_pace_says")), ...walks);
  box.addEventListener("input", () => {
    const counts = walks.map((walk) => walk.number());
    desk.counts = counts.includes(null) ? null : counts;
    if (desk.counts) set("pace", counts).catch(() => {});
  });
  box.checked = () => { box.open ||= !desk.counts; for (const walk of walks) walk.checked(); };
  return box;
}

function gpsAsk({ state, say }) {
  const { frame } = state.pack, seen = h("p", { role: "status" }), fixes = [];
  if (frame.kind !== "earth" || !isSecureContext || !navigator.geolocation) return { nodes: [line(t(frame.kind === "earth" ? "no_gps" : "pos_gps_local"))], found: () => ({}) };
  let watched = null, bell = null;
  const close = () => { navigator.geolocation.clearWatch(watched); clearTimeout(bell); };
  const start = () => {
    close();
    fixes.length = 0;
    seen.textContent = t("pos_gps_waits");
    watched = navigator.geolocation.watchPosition(({ coords }) => {
      const at = metresOf(frame, coords.longitude, coords.latitude);
      fixes.push([at.x, at.y, coords.accuracy]);
      seen.textContent = t("pos_gps_seen", { num: fixes.length });
      say();
    }, () => { seen.textContent = t("pos_gps_none"); }, { enableHighAccuracy: true, maximumAge: 1000 });
    bell = setTimeout(() => { close(); if (fixes.length) seen.textContent = t("pos_gps_done", { num: fixes.length }); }, GPS_MS);
  };
  const degrees = (value) => Number(value.toFixed(7));
  const found = () => {
    const fix = fixes.length ? fixing.averaged({ fixes }) : null;
    const more = fix && !fix.fault && { lon_deg: degrees(frame.lon0 + fix.x_m / frame.m_per_lon), lat_deg: degrees(frame.lat0 + fix.y_m / frame.m_per_lat) };
    return { fix, more, how: { fixes: fixes.map((one) => one.map(cm)) } };
  };
  return { nodes: [h("div", { class: "acts" }, button(t("pos_gps_start"), start, "quiet")), seen], close, found };
}
