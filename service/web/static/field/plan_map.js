// The map of the round without a network: the picture of the plan or the outline, what is closed (hatched, on
// top), hazards, the sector, trees, the meeting point, where the device is. Drag, pinch, wheel, or the buttons.
"use strict";

import * as keep from "./keep.js";
import { button, h } from "./dom.js";
import { hereNow } from "./locate.js";
import { t } from "./words.js";

const INK = "#121c28", ACCENT = "#1a5fa0", SOFT = "#6f6856", PAPER = "#fbfaf6";
const NEAR_PX = 28, MOST_ZOOM_PX = 60; // px per metre

// Draws into place; given: {to: a tree to go to, marks: [{x, y, words}], onTree(tree), onTap({x, y, metres_per_px})}.
// Returns {close(), redraw(), look(x, y)}.
export function planMap(place, state, given = {}) {
  const canvas = h("canvas", { class: "plan", role: "img", "aria-label": t("map_says"), tabindex: "0" });
  const map = { canvas, state, given, box: state.pack.map.box, at: { x: 0, y: 0, scale: 1 }, picture: null, fingers: new Map() };
  const zoomed = (factor) => () => { zoom(map, factor); };
  const whole = h("div", { class: "map" }, canvas, h("div", { class: "map-acts" },
    button("+", zoomed(1.6), "quiet"), button("−", zoomed(1 / 1.6), "quiet"), button(t("map_whole"), () => { fit(map); draw(map); }, "quiet"),
    isSecureContext && button(t("map_me"), () => { const me = hereNow(state); if (me) look(map, me.x, me.y); }, "quiet")));
  whole.querySelectorAll("button")[0].setAttribute("aria-label", t("map_nearer"));
  whole.querySelectorAll("button")[1].setAttribute("aria-label", t("map_farther"));
  place.append(whole);
  const seen = new ResizeObserver(() => { size(map); });
  seen.observe(canvas);
  const moved = () => draw(map);
  addEventListener("here", moved);
  listen(map);
  pictureOf(map);
  return {
    close: () => { seen.disconnect(); removeEventListener("here", moved); if (map.address) URL.revokeObjectURL(map.address); },
    redraw: moved,
    look: (x, y) => look(map, x, y),
  };
}

async function pictureOf(map) {
  const blob = map.state.pack.map.picture ? await keep.get("plan") : null;
  if (!blob) return;
  const image = new Image();
  map.address = URL.createObjectURL(blob);
  image.onload = () => { map.picture = image; draw(map); };
  image.src = map.address;
}

function size(map) {
  const { canvas } = map;
  const { clientWidth: wide, clientHeight: high } = canvas;
  if (!wide || !high) return;
  const isFirst = !map.wide;
  Object.assign(map, { wide, high, dense: devicePixelRatio || 1 });
  canvas.width = wide * map.dense;
  canvas.height = high * map.dense;
  if (isFirst) { fit(map); near(map); }
  draw(map);
}

function fit(map) {
  const [x0, y0, x1, y1] = map.box;
  map.at = { x: (x0 + x1) / 2, y: (y0 + y1) / 2, scale: Math.min(map.wide / Math.max(x1 - x0, 5), map.high / Math.max(y1 - y0, 5)) * 0.94 };
  map.least = map.at.scale / 2;
}

// Round the tree to go to, with where the device is.
function near(map) {
  const { to } = map.given;
  if (to?.x !== null && to?.x !== undefined) {
    const me = hereNow(map.state);
    const reach = me ? Math.max(20, Math.hypot(me.x - to.x, me.y - to.y) * 1.3) : 35;
    Object.assign(map.at, { x: to.x, y: to.y, scale: Math.max(map.at.scale, Math.min(map.wide, map.high) / 2 / reach) });
  }
}

function look(map, x, y) {
  Object.assign(map.at, { x, y, scale: Math.max(map.at.scale, 6) });
  draw(map);
}

function zoom(map, factor, at = { x: map.wide / 2, y: map.high / 2 }) {
  const before = fromScreen(map, at);
  map.at.scale = Math.min(MOST_ZOOM_PX, Math.max(map.least, map.at.scale * factor));
  const after = fromScreen(map, at);
  map.at.x += before.x - after.x;
  map.at.y += before.y - after.y;
  draw(map);
}

const toScreen = (map, [x, y]) => [map.wide / 2 + (x - map.at.x) * map.at.scale, map.high / 2 - (y - map.at.y) * map.at.scale];
const fromScreen = (map, { x, y }) => ({ x: map.at.x + (x - map.wide / 2) / map.at.scale, y: map.at.y - (y - map.high / 2) / map.at.scale });

// --- fingers ----------------------------------------------------------------------------------------------

function listen(map) {
  const { canvas, fingers } = map;
  let far = 0, moved = 0;
  const spot = (event) => ({ x: event.offsetX, y: event.offsetY });
  const spread = () => { const [a, b] = [...fingers.values()]; return b ? Math.hypot(a.x - b.x, a.y - b.y) : 0; };
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, spot(event));
    far = spread();
    if (fingers.size === 1) moved = 0;
  });
  canvas.addEventListener("pointermove", (event) => {
    const old = fingers.get(event.pointerId);
    if (!old) return;
    const now = spot(event);
    fingers.set(event.pointerId, now);
    moved += Math.hypot(now.x - old.x, now.y - old.y);
    map.at.x -= (now.x - old.x) / map.at.scale / fingers.size;
    map.at.y += (now.y - old.y) / map.at.scale / fingers.size;
    const wide = spread();
    if (wide && far) zoom(map, wide / far, now);
    far = wide;
    draw(map);
  });
  const end = (event) => {
    const was = fingers.delete(event.pointerId);
    far = spread();
    if (was && event.type === "pointerup" && moved < 10 && !fingers.size) tapped(map, spot(event));
  };
  canvas.addEventListener("pointerup", end);
  canvas.addEventListener("pointercancel", end);
  canvas.addEventListener("wheel", (event) => { event.preventDefault(); zoom(map, event.deltaY < 0 ? 1.25 : 0.8, spot(event)); }, { passive: false });
  canvas.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (step) { event.preventDefault(); map.at.x += step[0] * 40 / map.at.scale; map.at.y += step[1] * 40 / map.at.scale; draw(map); }
    if (event.key === "+" || event.key === "-") zoom(map, event.key === "+" ? 1.4 : 0.7);
  });
}

function tapped(map, spot) {
  if (map.given.onTap) { map.given.onTap({ ...fromScreen(map, spot), metres_per_px: 1 / map.at.scale }); draw(map); return; }
  if (!map.given.onTree) return;
  const away = (tree) => { const [x, y] = toScreen(map, [tree.x, tree.y]); return Math.hypot(x - spot.x, y - spot.y); };
  const near = map.state.pack.trees.filter((tree) => tree.x !== null).map((tree) => [away(tree), tree]).sort((a, b) => a[0] - b[0])[0];
  if (near && near[0] < NEAR_PX) map.given.onTree(near[1]);
}

// --- drawing ----------------------------------------------------------------------------------------------

function draw(map) {
  if (!map.wide) return;
  const pen = map.canvas.getContext("2d");
  pen.setTransform(map.dense, 0, 0, map.dense, 0, 0);
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, map.wide, map.high);
  const { map: ground } = map.state.pack;
  if (map.picture) drawPicture(map, pen, ground.picture.corners);
  for (const area of ground.areas) rings(map, pen, area.rings, { stroke: SOFT, wide: 1 });
  rings(map, pen, ground.outline, { stroke: INK, wide: 1.5, dash: [6, 4] });
  if (ground.sector) rings(map, pen, ground.sector, { stroke: ACCENT, wide: 3 });
  if (ground.way) rings(map, pen, [ground.way], { stroke: ACCENT, wide: 1.5, dash: [2, 5], isOpen: true });
  for (const hazard of ground.hazards) rings(map, pen, hazard.rings ?? hazard.lines, { stroke: INK, wide: 4, dash: [3, 3], isOpen: !hazard.rings });
  for (const spot of ground.known) mark(map, pen, spot, { name: spot.name, square: true });
  trees(map, pen);
  for (const shut of ground.closed) hatched(map, pen, shut.rings);
  if (ground.meeting) mark(map, pen, ground.meeting, { name: t("map_meeting"), fill: ACCENT, square: true, isMain: true });
  for (const spot of map.given.marks ?? []) mark(map, pen, spot, { name: spot.words, fill: ACCENT, isMain: true });
  const me = hereNow(map.state);
  if (me) meAt(map, pen, me);
}

function drawPicture(map, pen, corners) {
  const [[x0, y0], [x1, y1], , [x3, y3]] = corners.map((corner) => toScreen(map, corner));
  const { naturalWidth: wide, naturalHeight: high } = map.picture;
  pen.save();
  pen.globalAlpha = 0.6;
  pen.transform((x1 - x0) / wide, (y1 - y0) / wide, (x3 - x0) / high, (y3 - y0) / high, x0, y0);
  pen.drawImage(map.picture, 0, 0);
  pen.restore();
}

function path(map, pen, shape, isOpen) {
  pen.beginPath();
  for (const ring of shape) {
    ring.forEach((point, n) => pen[n ? "lineTo" : "moveTo"](...toScreen(map, point)));
    if (!isOpen) pen.closePath();
  }
}

function rings(map, pen, shape, { stroke, wide, dash = [], isOpen = false }) {
  path(map, pen, shape, isOpen);
  Object.assign(pen, { strokeStyle: stroke, lineWidth: wide });
  pen.setLineDash(dash);
  pen.stroke();
  pen.setLineDash([]);
}

function hatched(map, pen, shape) {
  pen.save();
  path(map, pen, shape, false);
  pen.clip("evenodd");
  pen.beginPath();
  for (let x = -map.high; x < map.wide; x += 9) { pen.moveTo(x, map.high); pen.lineTo(x + map.high, 0); }
  Object.assign(pen, { strokeStyle: INK, lineWidth: 1.5 });
  pen.stroke();
  pen.restore();
  rings(map, pen, shape, { stroke: INK, wide: 2.5 });
}

function trees(map, pen) {
  const { state, given } = map;
  const hasNames = map.at.scale > 4;
  for (const tree of state.pack.trees) {
    if (tree.x === null) continue;
    const isOurs = tree.order !== null, isNext = given.to?.id === tree.id;
    const [x, y] = toScreen(map, [tree.x, tree.y]);
    if (x < -20 || y < -20 || x > map.wide + 20 || y > map.high + 20) continue;
    pen.beginPath();
    pen.arc(x, y, isOurs ? 6 : 3.5, 0, 7);
    Object.assign(pen, { fillStyle: state.done?.has(tree.id) ? PAPER : isOurs ? INK : SOFT, strokeStyle: INK, lineWidth: 1.5 });
    pen.fill();
    if (isOurs) pen.stroke();
    if (state.closed.has(tree.id)) { pen.beginPath(); pen.moveTo(x - 7, y - 7); pen.lineTo(x + 7, y + 7); pen.moveTo(x + 7, y - 7); pen.lineTo(x - 7, y + 7); pen.stroke(); }
    if (isNext) { pen.beginPath(); pen.arc(x, y, 13, 0, 7); Object.assign(pen, { strokeStyle: ACCENT, lineWidth: 4 }); pen.stroke(); }
    if (isNext || (hasNames && (isOurs || map.at.scale > 10))) label(pen, tree.tag ?? "", x + (isNext ? 17 : 9), y);
  }
}

function label(pen, text, x, y) {
  Object.assign(pen, { font: "600 14px system-ui, sans-serif", textBaseline: "middle", strokeStyle: "#fff", lineWidth: 4, fillStyle: INK, lineJoin: "round" });
  pen.strokeText(text, x, y);
  pen.fillText(text, x, y);
}

function mark(map, pen, spot, { name, fill = "#fff", square = false, isMain = false }) {
  const [x, y] = toScreen(map, [spot.x, spot.y]);
  pen.beginPath();
  if (square) pen.rect(x - 6, y - 6, 12, 12);
  else pen.arc(x, y, 7, 0, 7);
  Object.assign(pen, { fillStyle: fill, strokeStyle: INK, lineWidth: 2 });
  pen.fill();
  pen.stroke();
  if (name && map.at.scale > (isMain ? 2 : 8)) label(pen, name, x + 11, y);
}

function meAt(map, pen, me) {
  const [x, y] = toScreen(map, [me.x, me.y]);
  pen.beginPath();
  pen.arc(x, y, Math.max(8, me.accuracy_m * map.at.scale), 0, 7);
  Object.assign(pen, { fillStyle: "rgb(26 95 160 / 0.15)", strokeStyle: ACCENT, lineWidth: 1.5 });
  pen.fill();
  pen.stroke();
  pen.beginPath();
  pen.arc(x, y, 5, 0, 7);
  pen.fillStyle = ACCENT;
  pen.fill();
}
