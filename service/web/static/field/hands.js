// How broad a hand is: ten breadths or spans along a tape, as often as layers/hands.py asks; readings counted in
// hands then name it. The arithmetic is that of layers/hands.py: breadth().
"use strict";

import { button, h, line, oneOf, title } from "./dom.js";
import { get, set, today } from "./keep.js";
import { drawing, once, shortField, shortSaid } from "./lengths.js";
import { t } from "./words.js";

const TIMES = 5, LEAST_SD_CM = 1 / Math.sqrt(12), MOST_CM = 40;

// [breadth, its standard error] in cm.
export function breadth(totals, laid) {
  const mean = totals.reduce((sum, one) => sum + one, 0) / totals.length;
  const sd = Math.sqrt(totals.reduce((sum, one) => sum + (one - mean) ** 2, 0) / (totals.length - 1));
  return [mean / laid, Math.max(sd, LEAST_SD_CM) / (laid * Math.sqrt(totals.length))];
}

export async function show(place, state, go) {
  const { counts = 10, fewest_times: fewest = 3 } = state.pack.hand ?? {};
  const isSpans = state.pack.round.instrument === "hand spans";
  const part = oneOf(t("hd_part"), [["hand breadths", t("hd_breadths")], ["hand spans", t("hd_spans")]], isSpans ? "hand spans" : "hand breadths");
  const pads = Array.from({ length: Math.max(TIMES, fewest) }, (_none, n) =>
    shortField(state, t("hd_time", { n: n + 1 }), { optional: n >= fewest }));
  const told = h("p", { class: "big", "aria-live": "polite" });
  const typed = () => pads.map((pad) => pad.number()).filter((value) => value !== null);
  const say = () => {
    const totals = typed(), [each, error] = totals.length < fewest ? [] : breadth(totals, counts);
    told.textContent = each ? t("hd_each", { each: shortSaid(state, each), error: shortSaid(state, error, 2) }) : t("hd_more", { num: fewest - totals.length });
  };
  const keep = async () => {
    const values = pads.map((pad) => pad.checked()), wrong = values.findIndex((value) => value > MOST_CM * counts);
    if (wrong >= 0) pads[wrong].fault(t("hd_too_long", { num: counts }));
    if (wrong >= 0 || pads.some((pad, n) => values[n] === null && (n < fewest || pad.input.value.trim()))) return false;
    const content = { crew: state.me.crew, instrument: part.value, counts, totals_cm: typed().map((cm) => Number(cm.toFixed(2))), calibrated_on: today() };
    const item = await go.entered("calibration", content);
    await set("hands", { ...await get("hands"), [part.value]: item.id }).catch(() => {});
    go.back();
    return true;
  };
  for (const pad of pads) pad.addEventListener("input", say);
  say();
  place.append(title(t("hands")), h("div", { class: "how" }, drawing("hand"), line(t("hd_says", { num: counts, times: pads.length }))), part,
    ...pads, told, line(t("hd_one"), "hint"), h("div", { class: "acts" }, button(t("keep"), once(keep), "main")));
}
