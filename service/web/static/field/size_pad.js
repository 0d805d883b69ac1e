// The pad for one size: one number, two of a caliper, goes of a short ruler, mark and reach of a sighting.
"use strict";

import { field, h, numberOf } from "./dom.js";
import { t } from "./words.js";

const WIDTHS = new Set(["diameter tape", "caliper", "sighting", "eye"]);

// An element with size(): {value, quantity, typed, and what else a reading says}; null after telling what is
// wrong; undefined where nothing was typed and nothing has to be (optional).
export function sizePad(instrument, { label, hint = null, optional = false }) {
  const quantity = WIDTHS.has(instrument) ? "diameter" : "girth";
  const fields = fieldsOf(instrument, label, hint);
  const pad = h("div", { class: "pad" }, fields);
  pad.size = () => {
    const typed = fields.map((one) => one.input.value.trim().replace(",", "."));
    if (optional && typed.every((text) => !text)) return undefined;
    const numbers = fields.map((one, n) => (one.optional && !typed[n] ? 0 : numberOf(typed[n])));
    fields.forEach((one, n) => one.fault(numbers[n] === null ? t("no_number") : ""));
    if (numbers.includes(null)) { fields[numbers.indexOf(null)].input.focus(); return null; }
    return { quantity, ...made(instrument, typed, numbers) };
  };
  return pad;
}

let ruler = ""; // the ruler of a team stays the same from tree to tree

function fieldsOf(instrument, label, hint) {
  const numbered = (text, more = {}) => field(text, { numeric: true, ...more });
  if (instrument === "caliper") return [numbered(t("caliper_1"), { hint }), numbered(t("caliper_2"))];
  if (instrument === "sighting") return [numbered(t("sighting_mark"), { hint }), numbered(t("sighting_reach"))];
  if (instrument !== "string and ruler") return [numbered(label, { hint })];
  const goes = [numbered(t("goes_times"), { hint: t("goes_hint") }), numbered(t("goes_long"), { value: ruler }), numbered(label, { hint: t("goes_rest") })];
  goes[0].optional = goes[1].optional = true;
  return goes;
}

function made(instrument, typed, numbers) {
  const [first, second, rest] = numbers;
  if (instrument === "caliper") return { value: first, value_2: second, typed: typed[0], typed_2: typed[1] };
  if (instrument === "sighting") {
    const share = first * first / second, value = (share + Math.sqrt(share * share + 4 * first * first)) / 2;
    return { value, parts: `mark ${typed[0]}, reach ${typed[1]}`, typed: String(value) };
  }
  if (instrument !== "string and ruler" || !first || !second) return { value: numbers.at(-1), typed: typed.at(-1) };
  ruler = typed[1];
  const value = Number((first * second + rest).toFixed(6));
  return { value, parts: `${first}x${typed[1]} + ${typed[2]}`, typed: String(value) };
}

// Where the tape goes: level, round the trunk, at a height above the ground.
export function figure(height) {
  const y = 92 - Math.min(70, Math.max(8, height * 44));
  return h("svg", { viewBox: "0 0 90 100", width: 90, height: 100, class: "figure", "aria-hidden": "true" },
    h("path", { d: "M38 4C36 40 36 70 24 92M58 4c2 36 2 66 14 88", class: "wood" }), h("line", { x1: 4, y1: 92, x2: 86, y2: 92, class: "wood" }),
    h("path", { d: `M33 ${y}q14 7 30 0`, class: "tape" }), h("path", { d: `M10 92V${y}m-4 6l4-6 4 6`, class: "tape" }));
}
