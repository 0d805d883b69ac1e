/* A tape to try: what it shows when it is slanted, slack at one place, too high or too low. The same as
   layers/tape_geometry.py; tests/shared_cases/tape_geometry.json holds both to it. */
"use strict";

const FOOT_M = 0.3048;
const PIECES = 128; // of an arc; by Simpson's rule that leaves less than 1e-10 of it

/** E(m), the complete elliptic integral of the second kind, by arithmetic-geometric means (DLMF 19.8.6). */
export function completeE(m) {
  let a = 1, b = Math.sqrt(1 - m), sum = m / 2, power = 0.5;
  while (Math.abs(a - b) > 1e-15) {
    const c = (a - b) / 2;
    [a, b] = [(a + b) / 2, Math.sqrt(a * b)];
    power *= 2;
    sum += power * c * c;
  }
  return (Math.PI / (2 * a)) * (1 - sum);
}

/** E(angle | m), the length of a part of the arc. */
export function partE(angle, m) {
  const step = angle / PIECES;
  let sum = 0;
  for (let i = 0; i <= PIECES; i += 1) {
    const weight = i === 0 || i === PIECES ? 1 : i % 2 ? 4 : 2;
    sum += weight * Math.sqrt(1 - m * Math.sin(i * step) ** 2);
  }
  return (sum * step) / 3;
}

/** The diameter at a height [m] over that at another, by the profile with coefficient b. */
export function thickness(height, at, b) {
  const profile = (h) => (4.5 - h / FOOT_M) / (h / FOOT_M + 1);
  return (1 + b * profile(height)) / (1 + b * profile(at));
}

/** The tape in its own plane: axes of its ellipse, where it leaves it [rad from the short axis], its length. */
export function tapeRound(girth, tilt, gap) {
  const r = girth / (2 * Math.PI), t = (tilt * Math.PI) / 180;
  const long = r / Math.cos(t), m = Math.sin(t) ** 2;
  const leaves = Math.acos(Math.min(1, r / (r + gap)));
  const tangent = Math.hypot(long * Math.sin(leaves), r + gap - r * Math.cos(leaves));
  return { r, long, leaves, length: 4 * long * completeE(m) - 2 * long * partE(leaves, m) + 2 * tangent };
}

/** What a tape shows [cm] round a trunk {girth [cm], height [m], profile}. */
export function tapeShows(trunk, tilt, gap, height) {
  return tapeRound(trunk.girth * thickness(height, trunk.height, trunk.profile), tilt, gap).length;
}

const path = (points) => "M" + points.map(([x, y]) => `${x.toFixed(2)} ${y.toFixed(2)}`).join("L");

function fromAbove({ r, long, leaves }, gap) {
  const points = [[0, -(r + gap)]];
  for (let i = 0; i <= 120; i += 1) {
    const p = leaves + ((2 * Math.PI - 2 * leaves) * i) / 120;
    points.push([long * Math.sin(p), -r * Math.cos(p)]);
  }
  return path(points) + "Z";
}

function fromSide(trunk, tilt, height) {
  const wide = (h) => (trunk.girth / (2 * Math.PI)) * thickness(h, trunk.height, trunk.profile);
  const y = (h) => 176 - 100 * h, heights = Array.from({ length: 41 }, (_, i) => 0.1 + 0.04 * i);
  const left = heights.map((h) => [60 - wide(h), y(h)]);
  const right = heights.map((h) => [60 + wide(h), y(h)]).reverse();
  const r = wide(height), rise = r * Math.tan((tilt * Math.PI) / 180);
  const mark = wide(trunk.height) + 8;
  return {
    wood: path([[60 - wide(0.1), 176], ...left, ...right, [60 + wide(0.1), 176]]),
    earth: path([[4, 176], [116, 176]]),
    right: path([[60 - mark, y(trunk.height)], [60 + mark, y(trunk.height)]]),
    band: path([[60 - r, y(height) + rise], [60 + r, y(height) - rise]]),
  };
}

function start(box) {
  const said = box.dataset;
  const trunk = { girth: Number(said.girth), height: Number(said.height), profile: Number(said.profile) };
  const [tilt, gap, height] = ["tilt", "gap", "height"].map((name) => box.querySelector(`#tape-${name}`));
  const [side, above] = box.querySelectorAll("svg");
  const language = document.documentElement.lang || "en";
  const number = (value, places) => value.toLocaleString(language, { minimumFractionDigits: places, maximumFractionDigits: places });
  const filled = (text, values) => text.replace(/\{(\w+)\}/g, (all, name) => values[name] ?? all);
  const tell = (input, text) => {
    input.setAttribute("aria-valuetext", text);
    box.querySelector(`output[for="${input.id}"]`).textContent = text;
  };
  const draw = () => {
    const now = [tilt, gap, height].map((input) => Number(input.value));
    const per = Number(said.per), shows = tapeShows(trunk, ...now), more = (shows - trunk.girth) / per;
    const words = Math.abs(more) < 0.05 ? said.right : more > 0 ? said.much : said.little;
    box.querySelector(".shows").textContent = [said.shows, words]
      .map((text) => filled(text, { shows: number(shows / per, 1), more: number(Math.abs(more), 1), unit: said.unit }))
      .join(" ");
    tell(tilt, filled(tilt.dataset.say, { value: number(now[0], 0) }));
    tell(gap, `${number(now[1] / per, 1)} ${said.unit}`);
    tell(height, `${number(now[2] / Number(said.perHeight), 2)} ${said.unitHeight}`);
    const there = trunk.girth * thickness(now[2], trunk.height, trunk.profile);
    above.querySelector(".wood").setAttribute("d", fromAbove(tapeRound(there, now[0], 0), 0));
    above.querySelector(".band").setAttribute("d", fromAbove(tapeRound(there, now[0], now[1]), now[1]));
    for (const [name, d] of Object.entries(fromSide(trunk, now[0], now[2]))) side.querySelector(`.${name}`).setAttribute("d", d);
  };
  for (const input of [tilt, gap, height]) input.addEventListener("input", draw);
  box.hidden = false;
  draw();
}

const box = document.getElementById("trytape");
if (box) start(box);
