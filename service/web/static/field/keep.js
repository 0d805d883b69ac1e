// What the phone keeps: everything that was entered (items), pictures, and a few named things (kept).
// An item is written before the screen says so. It has {id, format, kind, recorded_at, crew, site, round,
// content, order, state, why}; state is one of STATES. A full or closed database falls back to localStorage,
// and that to memory; enter() says where the item is.
"use strict";

export const FORMAT = 1;
export const WAITING = "waiting", TAKEN = "taken", ASKED = "questioned", ASIDE = "set aside", REFUSED = "refused";
const NAME = "boleward-field", VERSION = 1, BESIDE = "boleward:item:", KEPT = "boleward:kept:";
const STORES = [["items", "id"], ["pictures", "id"], ["kept", "name"]];

export const isUnsent = (item) => item.state === WAITING || item.state === REFUSED;

export function uuid() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 15) | 64;
  b[8] = (b[8] & 63) | 128;
  return [...b].map((one, n) => ([4, 6, 8, 10].includes(n) ? "-" : "") + one.toString(16).padStart(2, "0")).join("");
}

const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, "0");

export function today(at = new Date()) {
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
}

// The time as this device says it, with its offset.
export function deviceTime(at = new Date()) {
  const offset = -at.getTimezoneOffset();
  return `${today(at)}T${two(at.getHours())}:${two(at.getMinutes())}:${two(at.getSeconds())}${offset < 0 ? "-" : "+"}${two(offset / 60)}:${two(offset % 60)}`;
}

let opened = null;

function open() {
  opened ??= opening(VERSION).catch((error) => {
    if (error?.name === "VersionError") return opening(); // a newer program was here: its stores hold ours
    throw error;
  });
  opened.catch(() => { opened = null; });
  return opened;
}

function opening(version) {
  return new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, version);
    asked.onupgradeneeded = () => {
      for (const [name, keyPath] of STORES) {
        if (!asked.result.objectStoreNames.contains(name)) asked.result.createObjectStore(name, { keyPath });
      }
    };
    asked.onerror = () => failed(asked.error);
    asked.onblocked = () => failed(new Error("blocked"));
    asked.onsuccess = () => {
      const forget = () => { opened = null; };
      asked.result.onversionchange = () => { asked.result.close(); forget(); };
      asked.result.onclose = forget;
      done(asked.result);
    };
  });
}

// Runs one transaction on a store; what act's request brings comes back when it is on the disk.
async function within(store, mode, act, again = true) {
  const base = await open();
  let work;
  try {
    work = base.transaction(store, mode, { durability: "strict" });
  } catch (error) {
    opened = null; // closed under us
    if (again) return within(store, mode, act, false);
    throw error;
  }
  return new Promise((done, failed) => {
    let asked;
    work.oncomplete = () => done(asked?.result);
    work.onabort = () => failed(work.error ?? new DOMException("aborted", "AbortError"));
    asked = act(work.objectStore(store), work);
  });
}

// Named things; those that a full database does not take lie beside it until it does.
const names = new Map();

export async function get(name) {
  if (names.has(name)) return names.get(name);
  const held = lying(KEPT + name);
  if (held !== null) return held;
  try { return (await within("kept", "readonly", (store) => store.get(name)))?.value ?? null; } catch { return null; }
}

export async function set(name, value) {
  try {
    await within("kept", "readwrite", (store) => store.put({ name, value }));
    names.delete(name);
    pickUp(KEPT + name);
  } catch {
    if (value instanceof Blob || !layDown(KEPT + name, value)) names.set(name, value);
  }
}

function layDown(key, value) {
  try { localStorage.setItem(key, JSON.stringify(value)); return true; } catch { return false; }
}

function lying(key) {
  try { return JSON.parse(localStorage.getItem(key)); } catch { return null; }
}

function pickUp(key) {
  try { localStorage.removeItem(key); } catch { /* no localStorage */ }
}

// --- items ------------------------------------------------------------------------------------------------

const loose = new Map(); // only in memory: neither the database nor localStorage could take them
let order = 0;

const news = "BroadcastChannel" in self ? new BroadcastChannel(NAME) : null;
const watchers = new Set();
if (news) news.onmessage = () => tell(false);

// act runs whenever items changed, in this tab or another.
export const watch = (act) => watchers.add(act);

function tell(others = true) {
  if (others) news?.postMessage("");
  for (const act of watchers) act();
}

// Keeps something that was entered. Where it is comes back as item.at: "disk", "beside" or "memory".
export async function enter(kind, content, { id = uuid(), me = null } = {}) {
  order = Math.max(order + 1, Date.now());
  const item = {
    id, format: FORMAT, kind, recorded_at: deviceTime(), crew: me?.crew ?? null, site: me?.site ?? null,
    round: me?.round ?? null, content, order, state: WAITING, why: null,
  };
  const at = await write(item);
  tell();
  return { ...item, at };
}

async function write(item) {
  try {
    await within("items", "readwrite", (store) => store.put(item));
    leaveBeside(item.id);
    return "disk";
  } catch { /* full, or no database */ }
  if (layDown(BESIDE + item.id, item)) {
    loose.delete(item.id);
    return "beside";
  }
  loose.set(item.id, item);
  return "memory";
}

function leaveBeside(id) {
  loose.delete(id);
  pickUp(BESIDE + id);
}

function beside() {
  const found = [];
  try {
    for (const key of Object.keys(localStorage)) if (key.startsWith(BESIDE)) found.push(JSON.parse(localStorage.getItem(key)));
  } catch { /* no localStorage */ }
  return found;
}

export const inMemoryOnly = () => loose.size;

// Everything that was entered, in the order of entering.
export async function items() {
  let kept = [];
  try { kept = await within("items", "readonly", (store) => store.getAll()); } catch { /* no database */ }
  const all = new Map([...beside(), ...loose.values()].map((item) => [item.id, item]));
  for (const item of kept) all.set(item.id, item);
  return [...all.values()].sort((a, b) => a.order - b.order);
}

// Notes what the server answered about items: {id: {state, why}}. What cannot be noted stays to be sent again.
export async function mark(answers) {
  const ids = Object.keys(answers);
  try {
    await within("items", "readwrite", (store) => {
      for (const id of ids) {
        const asked = store.get(id);
        asked.onsuccess = () => { if (asked.result) store.put({ ...asked.result, ...answers[id] }); };
      }
    });
  } catch {
    const kept = ids.filter((id) => !isUnsent(answers[id]));
    await within("items", "readwrite", (store) => { for (const id of kept) store.delete(id); }).catch(() => {});
  }
  for (const id of ids) if (!isUnsent(answers[id])) leaveBeside(id);
  tell();
}

// What lies beside the database goes into it as soon as it takes something again.
export async function settle() {
  for (const item of [...beside(), ...loose.values()]) await write(item);
}

// Forgets what arrived in other rounds more than two weeks ago.
export async function tidy(round, now = Date.now()) {
  const old = (await items()).filter((item) => !isUnsent(item) && item.round !== round && now - item.order > 14 * 864e5);
  if (old.length) await within("items", "readwrite", (store) => { for (const item of old) store.delete(item.id); });
}

// --- pictures: {id, blob, state, why}; they leave after the items ---------------------------------------------

export const putPicture = (id, blob, why = null) =>
  within("pictures", "readwrite", (store) => store.put({ id, blob, state: why ? REFUSED : WAITING, why })).then(() => tell());
export const pictures = () => within("pictures", "readonly", (store) => store.getAll()).catch(() => []);
export const dropPicture = (id) => within("pictures", "readwrite", (store) => store.delete(id)).then(() => tell());
export const refusePicture = (id, why) => within("pictures", "readwrite", (store) => {
  const asked = store.get(id);
  asked.onsuccess = () => { if (asked.result) store.put({ ...asked.result, state: REFUSED, why }); };
}).then(() => tell());

// --- room, and one at a time ----------------------------------------------------------------------------------

const TRIAL = 65536;

// Whether the phone takes what is entered: "room", "little" (less than 5 MB), "full" or "none" (no database).
export async function room() {
  try {
    await within("kept", "readwrite", (store) => store.put({ name: "trial", value: new Uint8Array(TRIAL) }));
    await within("kept", "readwrite", (store) => store.delete("trial"));
  } catch (error) {
    return error?.name === "QuotaExceededError" ? "full" : "none";
  }
  const { quota, usage } = (await navigator.storage?.estimate?.()) ?? {};
  return quota !== undefined && quota - usage < 5e6 ? "little" : "room";
}

// Runs act in one tab at a time; false where another tab is at it.
export async function alone(act, now = () => Date.now()) {
  if (navigator.locks) {
    return navigator.locks.request(`${NAME}-send`, { ifAvailable: true }, (lock) => (lock ? act().then(() => true) : false));
  }
  const mine = uuid();
  if (!(await lease(mine, now))) return false;
  const again = setInterval(() => lease(mine, now), 10000);
  try { await act(); } finally {
    clearInterval(again);
    await within("kept", "readwrite", (store) => {
      const asked = store.get("lease");
      asked.onsuccess = () => { if (asked.result?.value.holder === mine) store.delete("lease"); };
    }).catch(() => {});
  }
  return true;
}

async function lease(mine, now) {
  let got = false;
  try {
    await within("kept", "readwrite", (store) => {
      const asked = store.get("lease");
      asked.onsuccess = () => {
        const held = asked.result?.value;
        const isFree = !held || held.holder === mine || held.until < now() || held.until > now() + 60000;
        if (isFree) { got = true; store.put({ name: "lease", value: { holder: mine, until: now() + 30000 } }); }
      };
    });
  } catch { return true; } // no room for a lease: sending twice is harmless, the server keeps once
  return got;
}
