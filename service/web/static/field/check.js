// Whether a reading is what was to be expected: line by line what layers/reading_check.py does, on numbers that
// the server packed. A question to the people who measured, never a verdict. Cases for both: tests/shared_cases.
"use strict";

export const ODDS_LIMIT = 0.25;
const CM_PER_UNIT = { cm: 1, mm: 0.1, m: 100, in: 2.54, ft: 30.48 };
const LOG_ROOT_2PI = 0.9189385332046727, NOTHING = -1e300, SPREAD = 2.5758;
const NUMBER = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?$/i;

// {scale, fits, odds, low, high, explanations: [{kind, about, share, meant}]}; throws RangeError where what was
// typed is no number above 0.
export function check(reading, expected, limit = ODDS_LIMIT) {
  const value = valueOf(reading.typed, reading.typed_2 ?? null);
  const perTyped = perTypedOf(reading, expected);
  const at = placeOf(value * perTyped, expected.scale);
  const good = logGood(at, expected);
  const swapped = swappedOf(reading).map((meant) => [meant, logSwapped(value, meant, perTyped, expected)]);
  const found = expected.explanations.map((one) => logExplained(at, one, expected, swapped));
  const total = logSum(found);
  const odds = Math.exp(Math.min(total - good, 700));
  const [low, high] = rangeOf(expected).map((end) => end / perTyped);
  return { scale: expected.scale, fits: odds <= limit, odds, low, high, explanations: ordered(value, expected, found, total, swapped) };
}

// The numbers that become the typed one when two neighbouring digits are swapped.
export function swaps(typed) {
  const text = typed.trim().replace(",", ".");
  const digits = [...text].map((letter, place) => (/\d/.test(letter) ? place : -1)).filter((place) => place >= 0);
  const out = [];
  for (let n = 1; n < digits.length; n += 1) {
    const [left, right] = [digits[n - 1], digits[n]];
    if (text[left] === text[right]) continue;
    const letters = [...text];
    [letters[left], letters[right]] = [letters[right], letters[left]];
    const other = letters.join("");
    if (Number(other) > 0 && !/^0\d/.test(other) && !out.includes(other)) out.push(other);
  }
  return out;
}

function swappedOf({ typed, typed_2: second = null }) {
  if (second === null) return swaps(typed).map(Number);
  return [...swaps(typed).map((other) => [other, second]), ...swaps(second).map((other) => [typed, other])].map(([a, b]) => valueOf(a, b));
}

const valueOf = (typed, second) => (second === null ? number(typed) : (number(typed) + number(second)) / 2);

function number(typed) {
  const text = typed.trim().replace(",", ".");
  const value = NUMBER.test(text) ? Number(text) : NaN;
  if (!(value > 0 && value < Infinity)) throw new RangeError("value");
  return value;
}

// By how much the number grows when it is said in the quantity and unit of the expectation.
function perTypedOf(reading, expected) {
  const factor = reading.unit === expected.unit ? 1 : CM_PER_UNIT[reading.unit] / CM_PER_UNIT[expected.unit];
  if (reading.quantity === expected.quantity) return factor;
  return expected.quantity === "girth" ? factor * Math.PI : factor / Math.PI;
}

const placeOf = (value, scale) => (scale === "log" ? Math.log(value) : value);

function logNormal(at, mean, deviation) {
  const away = (at - mean) / deviation;
  return -0.5 * away * away - Math.log(deviation) - LOG_ROOT_2PI;
}

function logSum(logs) {
  const top = Math.max(NOTHING, ...logs);
  if (top <= NOTHING) return NOTHING;
  return top + Math.log(logs.reduce((sum, one) => sum + Math.exp(one - top), 0));
}

const logGood = (at, expected) => logSum(expected.good.map((one) => Math.log(one.weight) + logNormal(at, one.mean, one.deviation)));

function logSwapped(value, meant, perTyped, expected) {
  const logged = logGood(placeOf(meant * perTyped, expected.scale), expected);
  return expected.scale === "log" ? logged + Math.log(value / meant) : logged;
}

const allGood = (expected) => expected.good.reduce((sum, one) => sum + one.weight, 0);

// The logarithm of weight x density of an explanation.
function logExplained(at, one, expected, swapped) {
  if (one.weight <= 0) return NOTHING;
  if (one.kind === "digits swapped") {
    if (!swapped.length) return NOTHING;
    return Math.log(one.weight) + logSum(swapped.map(([, logged]) => logged)) - Math.log(swapped.length * allGood(expected));
  }
  if (one.factor === 0) return Math.log(one.weight) + logNormal(at, one.shift, one.deviation);
  const logs = expected.good.map((good) => {
    const logged = expected.scale === "log";
    const mean = logged ? good.mean + Math.log(one.factor) : one.factor * good.mean;
    const own = logged ? good.deviation : one.factor * good.deviation;
    const spread = Math.sqrt(own * own + one.deviation * one.deviation);
    return Math.log(good.weight / allGood(expected)) + logNormal(at, mean + one.shift, spread);
  });
  return Math.log(one.weight) + logSum(logs);
}

// The ends of what was to be expected by the likeliest of the good readings.
function rangeOf(expected) {
  const main = expected.good.reduce((best, one) => (one.weight > best.weight ? one : best));
  const [low, high] = [main.mean - SPREAD * main.deviation, main.mean + SPREAD * main.deviation];
  return expected.scale === "log" ? [Math.exp(low), Math.exp(high)] : [Math.max(low, 0), high];
}

// The explanations by kind, likeliest first; those of one share in the order of the expectation.
function ordered(value, expected, found, total, swapped) {
  const kinds = new Map();
  expected.explanations.forEach((one, n) => {
    const share = total > NOTHING ? Math.exp(found[n] - total) : 0;
    const known = kinds.get(one.kind);
    if (!known) kinds.set(one.kind, { share, best: share, one });
    else {
      known.share += share;
      if (share > known.best) Object.assign(known, { best: share, one });
    }
  });
  return [...kinds].filter(([, { share }]) => share > 0).sort(([, a], [, b]) => b.share - a.share)
    .map(([kind, { share, one }]) => ({ kind, about: one.about, share, meant: meantBy(value, one, swapped) }));
}

function meantBy(value, one, swapped) {
  if (one.kind === "digits swapped") return swapped.reduce((best, pair) => (pair[1] > best[1] ? pair : best))[0];
  return one.kind === "unit" || one.kind === "girth or width" ? value / one.factor : null;
}
