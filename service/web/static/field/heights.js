// How tall a tree is and how wide its crown: with a stick, by angles, with a tape in two directions.
"use strict";

import { button, h, line, oneOf, shown, title, treeName } from "./dom.js";
import { heightByAngle, heightByStick, PHONE_SE_DEG, PROTRACTOR_SE_DEG } from "./height_by_angle.js";
import { today } from "./keep.js";
import { drawing, lengthField, lengthSaid, numberField, once, shortField } from "./lengths.js";
import { treeOf } from "./sheet.js";
import { whichTree } from "./which.js";
import { t } from "./words.js";

const TWO_PLACES = 0.05; // of the height: two places twice as far apart as instruments leave (2.5 %)

export async function show(place, state, go) {
  const { tree_id = null, tag = null, part = null } = state.args;
  if (!tree_id && !tag) { whichTree(place, state, t("heights"), (found) => go.instead("heights", found)); return null; }
  const about = tree_id ? { tree_id } : { tag };
  place.append(title(part ? t(`ht_${part}`) : t("heights")), line(tree_id ? treeName(treeOf(state, tree_id)) : t("tree", { tag }), "big"));
  if (part) return { stick, angle, crown }[part](place, state, go, about);
  place.append(line(t("ht_care")), h("div", { class: "ways" }, ["stick", "angle", "crown"].map((name) =>
    h("button", { type: "button", class: "quiet", onclick: () => go("heights", { ...about, part: name }) }, drawing(name), h("span", {}, t(`ht_${name}`))))));
  return null;
}

const seen = (about, what, value, method, text) => ({ ...about, what, value: Number(value.toFixed(2)), unit: "m", method, text, observed_on: today() });

function stick(place, state, go, about) {
  const far = lengthField(state, t("ht_far"));
  const covered = shortField(state, t("ht_covered")), reach = shortField(state, t("ht_reach"));
  reach.stays = true;
  place.append(drawing("stick"), line(t("ht_stick_says")), line(t("ht_back"), "hint"), reach, covered, far);
  goes(place, state, go, about, "stick and equal triangles", [far, covered, reach], () => {
    const found = heightByStick({ distance_m: far.number(), covered_cm: covered.number(), reach_cm: reach.number() });
    return { ...found, raw: `${shortly(far.number())} m, ${shortly(covered.number())} cm, ${shortly(reach.number())} cm` };
  });
  return null;
}

const shortly = (value) => Number(value.toFixed(2));

function angle(place, state, go, about) {
  const tilt = tiltSensor();
  const far = lengthField(state, t("ht_far"));
  const top = numberField(t("ht_top"), { signed: true }), foot = numberField(t("ht_foot"), { signed: true, hint: t("ht_foot_hint") });
  const slope = numberField(t("ht_slope"), { signed: true, optional: true, hint: t("ht_slope_hint") });
  const fromPhone = new Set();
  const take = (pad) => button(t("ht_take"), async () => {
    const degrees = await tilt.read();
    pad.fault(degrees === null ? t("ht_no_tilt") : "");
    if (degrees === null) return;
    pad.input.value = shown(degrees, 1);
    fromPhone.add(pad);
    pad.input.dispatchEvent(new Event("input", { bubbles: true }));
  }, "quiet");
  place.append(drawing("angle"), line(t("ht_angle_says")), far, ...[top, foot, slope].map((pad) => h("div", { class: "beside" }, pad, take(pad))));
  goes(place, state, go, about, "angle and distance", [far, top, foot], () => {
    const sure = fromPhone.has(top) && fromPhone.has(foot);
    const found = heightByAngle({
      distance_m: far.number(), top_deg: top.number(), foot_deg: foot.number(), slope_deg: slope.number() ?? 0, angle_se_deg: sure ? PHONE_SE_DEG : PROTRACTOR_SE_DEG,
    });
    return { ...found, raw: `${shortly(far.number())} m, ${top.number()}°, ${foot.number()}°, ${slope.number() ?? 0}°` };
  });
  return () => tilt.close();
}

// From one place, or two: the mean is kept, with what was read at each.
function goes(place, state, go, about, method, pads, compute) {
  const told = h("p", { class: "big", "aria-live": "polite" });
  const before = [], changing = pads.filter((pad) => !pad.stays);
  const now = () => (pads.some((pad) => pad.number() === null) ? null : compute());
  const words = (one) => t("ht_about", { height: lengthSaid(state, one.height_m), error: lengthSaid(state, one.se_m) });
  const say = () => { const found = now(); told.textContent = !found ? "" : found.fault ? t("ht_fault") : words(found); };
  const checked = () => { for (const pad of pads) pad.checked(); const found = now(); return found && !found.fault ? found : null; };
  const list = h("ol", {});
  let isAsked = false;
  const again = () => {
    const found = checked();
    if (!found) return;
    before.push(found);
    list.append(h("li", {}, words(found)));
    for (const pad of changing) pad.input.value = "";
    say();
    place.querySelector("h1").focus();
  };
  const keep = async () => {
    const isEmpty = before.length > 0 && changing.every((pad) => !pad.input.value.trim());
    const last = isEmpty ? null : checked();
    if (!isEmpty && !last) return false;
    const all = last ? [...before, last] : before;
    const heights = all.map((one) => one.height_m), mean = heights.reduce((sum, one) => sum + one, 0) / heights.length;
    if (Math.max(...heights) - Math.min(...heights) > TWO_PLACES * mean && !isAsked) {
      isAsked = true;
      told.textContent = t("ht_apart");
      return false;
    }
    const places = all.length > 1 ? `, ${all.length} places` : "";
    await go.entered("observation", seen(about, "height", mean, method + places, all.map((one) => one.raw).join("; ")));
    go.back();
    return true;
  };
  place.addEventListener("input", say);
  place.append(list, told, line(t("ht_lean"), "hint"), h("div", { class: "acts" }, button(t("keep"), once(keep), "main"), button(t("ht_again"), again, "quiet")));
}

function crown(place, state, go, about) {
  const one = lengthField(state, t("ht_one_way")), other = lengthField(state, t("ht_other_way"));
  const how = oneOf(t("ht_how"), [["tape", t("ht_tape")], ["paces", t("ht_paces")]], "tape");
  const keep = async () => {
    const [a, b] = [one.checked(), other.checked()];
    if (a === null || b === null) return false;
    await go.entered("observation", seen(about, "crown diameter", (a + b) / 2, `${how.value}, mean of two directions`, `${shortly(a)} m and ${shortly(b)} m`));
    go.back();
    return true;
  };
  place.append(drawing("crown"), line(t("ht_crown_says")), line(t("ht_care"), "hint"), one, other, how, h("div", { class: "acts" }, button(t("keep"), once(keep), "main")));
  return null;
}

// How far the long edge of the device points above the level, from what its sensor says; read() gives degrees or null.
function tiltSensor() {
  let last = [];
  const heard = (event) => {
    if (event.beta === null) return;
    last = [...last.slice(-7), (Math.asin(Math.sin((event.beta * Math.PI) / 180)) * 180) / Math.PI];
  };
  const listen = () => addEventListener("deviceorientation", heard);
  const asks = typeof DeviceOrientationEvent !== "undefined" && DeviceOrientationEvent.requestPermission;
  if (!asks) listen();
  return {
    async read() {
      if (asks && !last.length) {
        try { if ((await asks.call(DeviceOrientationEvent)) === "granted") listen(); } catch { return null; }
        await new Promise((done) => { setTimeout(done, 300); });
      }
      return last.length ? last.reduce((sum, one) => sum + one, 0) / last.length : null;
    },
    close: () => removeEventListener("deviceorientation", heard),
  };
}
