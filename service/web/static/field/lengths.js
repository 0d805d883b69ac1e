// Lengths of the ground as people here say them, metres or feet; and the page's drawings.
"use strict";

import { field, h, numberOf, shown } from "./dom.js";
import { t } from "./words.js";

const M_PER_FT = 0.3048, CM_PER_IN = 2.54, NS = "http://www.w3.org/2000/svg";
const isFeet = (state) => state.pack.site.units === "us";
const unitOf = (state) => (isFeet(state) ? "ft" : "m");

export const lengthSaid = (state, metres, digits = 1) => `${shown(isFeet(state) ? metres / M_PER_FT : metres, digits)} ${unitOf(state)}`;

// An act that a second tap does not start again while it is at it, nor after it left the screen (then it says true).
export function once(act) {
  let isBusy = false;
  return async () => {
    if (isBusy) return;
    isBusy = true;
    try { isBusy = (await act()) === true; } catch (error) { isBusy = false; throw error; }
  };
}

// A field of a number: .number() gives it or null, .checked() says beside the field what lacks.
export function numberField(label, given = {}, factor = 1) {
  const whole = field(label, { numeric: true, ...given });
  whole.number = () => {
    const typed = whole.input.value.trim(), isBelow = given.signed && /^[-−]/.test(typed);
    const value = given.signed && /^[-−]?0+([.,]0+)?$/.test(typed) ? 0 : numberOf(isBelow ? typed.slice(1) : typed);
    return value === null ? null : value * factor * (isBelow ? -1 : 1);
  };
  whole.checked = () => {
    whole.fault(whole.number() === null && !(given.optional && !whole.input.value.trim()) ? t("no_number") : "");
    return whole.number();
  };
  return whole;
}

// The same for a length of the ground, in metres whatever the unit of the site.
export const lengthField = (state, label, given = {}) => numberField(`${label} (${unitOf(state)})`, given, isFeet(state) ? M_PER_FT : 1);

// The same for a length that a hand can span, in centimetres.
export const shortField = (state, label, given = {}) => numberField(`${label} (${isFeet(state) ? "in" : "cm"})`, given, isFeet(state) ? CM_PER_IN : 1);

export const shortSaid = (state, cm, digits = 1) => `${shown(isFeet(state) ? cm / CM_PER_IN : cm, digits)} ${isFeet(state) ? "in" : "cm"}`;

let made = 0;

// One of several in a list that folds: [[value, text], ...]; .fill() puts others there, .chosen() gives the value.
export function choice(label, choices, chosen = "") {
  const id = `c${(made += 1)}`, select = h("select", { id });
  const whole = h("div", { class: "field" }, h("label", { for: id }, label), select);
  whole.fill = (options, now = select.value) => select.replaceChildren(...options.map(([value, text]) => h("option", { value, selected: value === now }, text)));
  whole.chosen = () => select.value;
  whole.fill(choices, chosen);
  return whole;
}

// A symbol of drawings.svg, in the colour of the text.
export function drawing(name) {
  const svg = document.createElementNS(NS, "svg"), use = document.createElementNS(NS, "use");
  use.setAttribute("href", `/static/field/drawings.svg#${name.replaceAll(" ", "-")}`);
  for (const [key, value] of [["viewBox", "0 0 64 64"], ["class", "drawing"], ["aria-hidden", "true"]]) svg.setAttribute(key, value);
  svg.append(use);
  return svg;
}
