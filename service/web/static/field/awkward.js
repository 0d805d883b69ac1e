// What makes a trunk awkward to measure, for the measure screen: facts with the rule for each, side and tilt.
"use strict";

import { h, line } from "./dom.js";
import { choice, drawing, numberField, shortField } from "./lengths.js";
import { t } from "./words.js";

const FACTS = ["fork below", "fork above", "slope", "lean", "swelling", "swollen foot", "burl", "buttress", "vine", "missing bark", "heaved base", "too short for breast height"];
const SIDES = ["uphill", "downhill", "between", "upper side of the lean", "under side of the lean"];
const TILTS = [["", "tilt_0"], ["5", "tilt_5"], ["10", "tilt_10"], ["20", "tilt_20"]];
const key = (word) => word.replaceAll(" ", "_");

// How thick a vine is [cm], how much of the width is left without bark [%]; may be left away.
function amount(whole, low, high) {
  whole.within = () => (whole.number() >= low && whole.number() <= high ? whole.number() : null);
  whole.input.addEventListener("change", () => { whole.fault(whole.input.value.trim() && whole.within() === null ? t("aw_range") : ""); });
  return whole;
}

// An element, folded unless something was said last time; .content gives awkward, side and tilt_deg of a reading.
export function awkwardBox(state, tree, stem) {
  const before = (stem.awkward ?? []).map((fact) => fact.replace(/ [\d.]+$/, ""));
  const amounts = { vine: amount(shortField(state, t("aw_vine")), 0.1, 50), "missing bark": amount(numberField(t("aw_bark")), 70, 100) };
  const boxes = FACTS.map((word) => {
    const box = h("input", { type: "checkbox", value: word, checked: before.includes(word) });
    const rule = h("div", { class: "rule" }, line(t(`rule_${key(word)}`), "hint"), amounts[word]);
    const told = () => { rule.hidden = !box.checked; };
    box.addEventListener("change", told);
    told();
    return { box, node: [h("label", { class: "tick" }, box, drawing(word), h("span", {}, t(`fact_${key(word)}`))), rule] };
  });
  const side = choice(t("aw_side"), [["", t("not_said")], ...SIDES.map((word) => [word, t(`side_${key(word)}`)])], stem.side ?? "");
  const tilt = choice(t("aw_tilt"), TILTS.map(([value, text]) => [value, t(text)]), "");
  const whole = h("details", { class: "awkward", open: before.length > 0 || Boolean(stem.side) }, h("summary", {}, t("aw_open")),
    h("fieldset", {}, h("legend", {}, t("aw_facts")), boxes.flatMap((one) => one.node)),
    side, drawing("tilt"), tilt);
  const said = () => boxes.filter((one) => one.box.checked).map((one) => one.box.value).map((word) => {
    const size = amounts[word]?.within();
    return size ? `${word} ${Number((word === "vine" ? size : size / 100).toFixed(3))}` : word;
  });
  Object.defineProperty(whole, "content", {
    get: () => ({
      ...(said().length ? { awkward: said().join(", ") } : {}), ...(side.chosen() ? { side: side.chosen() } : {}),
      ...(tilt.chosen() ? { tilt_deg: Number(tilt.chosen()) } : {}),
    }),
  });
  return whole;
}
