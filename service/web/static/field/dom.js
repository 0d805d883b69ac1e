// Small makers of what a screen is built of. Text always goes in as text, never as HTML.
"use strict";

import { t } from "./words.js";

const SVG = new Set(["svg", "path", "circle", "line", "rect", "g", "text"]);

export function h(tag, given = {}, ...inside) {
  const made = SVG.has(tag) ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name in made && !SVG.has(tag) && typeof value !== "string") made[name] = value;
    else if (value !== null && value !== undefined && value !== false) made.setAttribute(name, value);
  }
  made.append(...inside.flat().filter((part) => part !== null && part !== undefined && part !== false));
  return made;
}

export const button = (text, act, kind = "") => h("button", { type: "button", class: kind, onclick: act }, text);

export const title = (text) => h("h1", { tabindex: "-1" }, text);

export const line = (text, kind = "") => h("p", { class: kind }, text);

let made = 0;

// A field with its label; {hint, numeric, value, kind}; the input is the property .input of what comes back.
export function field(label, { hint = null, numeric = false, value = "", kind = "text", ...more } = {}) {
  const id = `f${(made += 1)}`;
  const input = h("input", {
    id, type: kind, value, autocomplete: "off", autocapitalize: "off", spellcheck: "false", enterkeyhint: "done",
    ...(numeric ? { inputmode: "decimal", class: "number" } : {}), ...(hint ? { "aria-describedby": `${id}h` } : {}), ...more,
  });
  input.value = value;
  const said = h("p", { class: "fault", role: "alert", id: `${id}e` });
  const whole = h("div", { class: "field" }, h("label", { for: id }, label), hint && h("p", { class: "hint", id: `${id}h` }, hint), input, said);
  whole.input = input;
  whole.fault = (text) => {
    said.textContent = text;
    input.setAttribute("aria-invalid", text ? "true" : "false");
    if (text) { input.setAttribute("aria-errormessage", said.id); input.focus(); }
  };
  return whole;
}

// One of several: [[value, text], ...]; .value of what comes back.
export function oneOf(legend, choices, chosen = null) {
  const name = `f${(made += 1)}`;
  const whole = h("fieldset", {}, h("legend", {}, legend), choices.map(([value, text]) =>
    h("label", { class: "tick" }, h("input", { type: "radio", name, value, checked: value === chosen }), text)));
  Object.defineProperty(whole, "value", { get: () => whole.querySelector("input:checked")?.value ?? null });
  return whole;
}

// Any of several: .values of what comes back.
export function anyOf(legend, choices, chosen = []) {
  const whole = h("fieldset", {}, h("legend", {}, legend), choices.map(([value, text]) =>
    h("label", { class: "tick" }, h("input", { type: "checkbox", value, checked: chosen.includes(value) }), text)));
  Object.defineProperty(whole, "values", { get: () => [...whole.querySelectorAll("input:checked")].map((one) => one.value) });
  return whole;
}

const NUMBER = /^\d{1,6}(?:[.,]\d{1,4})?$/;

// What was typed as a number above 0, with point or comma; null where it is none.
export function numberOf(typed) {
  const text = typed.trim();
  const value = NUMBER.test(text) ? Number(text.replace(",", ".")) : NaN;
  return value > 0 ? value : null;
}

// A number for people, with the decimal sign of the page's language.
export const shown = (value, digits = 0) =>
  value.toLocaleString(document.documentElement.lang, { maximumFractionDigits: digits, minimumFractionDigits: digits, useGrouping: false });

// The file is made by the page itself and never leaves the phone by this.
export function saveAs(name, text) {
  const address = URL.createObjectURL(new Blob([text], { type: "application/json" }));
  const way = h("a", { href: address, download: name });
  document.body.append(way);
  way.click();
  way.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
}

export const treeName = (tree) => (tree?.tag ? t("tree", { tag: tree.tag }) : t("tree_without"));
