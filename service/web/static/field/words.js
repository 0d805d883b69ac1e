// All texts of the page, in its language: the server put them into the page.
"use strict";

const words = JSON.parse(document.getElementById("words").textContent);

// The text of a key with its {places} filled in.
export function t(key, values = {}) {
  const text = words[key];
  if (text === undefined) throw new Error(`no text ${key}`);
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

export const hasText = (key) => key in words;
