// From the outbox to the server: at least once, as the server keeps once. An item counts as arrived only when an
// answer says so; whatever else comes back, it stays.
"use strict";

import * as keep from "./keep.js";

const MOST = 100, WAIT_MS = 30000, LONGEST_MS = 300000;
let heard = () => {};
let timer = null;
let pause = 0;
let until = 0;
let busy = null;

// act hears {needs} ("word", a sentence, or null where nothing is missing) and {clock}, how far off it is [ms].
export const onHeard = (act) => { heard = act; };

const program = document.documentElement.dataset.program;

// An answer with its whole body, or an error after half a minute.
async function ask(address, given = {}, read = "text") {
  const stop = new AbortController();
  const bell = setTimeout(() => stop.abort(), WAIT_MS);
  try {
    const answer = await fetch(address, { ...given, signal: stop.signal, cache: "no-store", redirect: "error" });
    return { ok: answer.ok, status: answer.status, header: (name) => answer.headers.get(name), body: await answer[read]() };
  } finally { clearTimeout(bell); }
}

const posted = (address, body, token = null) => ask(address, {
  method: "POST", body: JSON.stringify(body),
  headers: { "Content-Type": "application/json", ...(token ? { Authorization: `Bearer ${token}` } : {}) },
});

// What a problem document says; null where there is none (a portal, a proxy).
function why(answer) {
  try {
    const said = JSON.parse(answer.body);
    return said.errors?.map((fault) => fault.detail ?? fault.message).filter(Boolean).join(" ") || said.detail || said.title || null;
  } catch { return null; }
}

function clockIs(server, asked) {
  const off = Date.parse(server) - (asked + Date.now()) / 2;
  if (Number.isNaN(off)) return;
  keep.set("clock", off).catch(() => {});
  heard({ clock: off });
}

export async function hello() {
  try {
    const asked = Date.now();
    const answer = await posted("/field/api/hello", {});
    if (answer.ok) clockIs(JSON.parse(answer.body).now, asked);
    return answer.ok;
  } catch { return false; }
}

// {me} or {fault: a sentence or null, wait: seconds or null}
export async function join(word) {
  let answer;
  try {
    const phone = (await keep.get("phone")) ?? keep.uuid();
    await keep.set("phone", phone).catch(() => {});
    answer = await posted("/field/api/join", { word, phone });
  } catch { return { fault: null, wait: null }; }
  if (!answer.ok) return { fault: why(answer), wait: Number(answer.header("Retry-After")) || null };
  try {
    const { token, ends_at, crew, round, site } = JSON.parse(answer.body);
    heard({ needs: null });
    return { me: { token, ends_at, crew: crew.code, crew_id: crew.id, kind: crew.kind, round: round.id, round_name: round.name, site: site.slug, site_name: site.name } };
  } catch { return { fault: null, wait: null }; }
}

// The pack as it is now, or as it was kept; the picture of the plan is kept beside it.
export async function fetchPack(me) {
  const kept = await keep.get("pack");
  const mine = kept && kept.site.slug === me.site && kept.round.id === me.round && kept.crew.code === me.crew ? kept : null;
  try {
    const tag = mine ? await keep.get("pack_tag") : null;
    const auth = { Authorization: `Bearer ${me.token}` };
    const answer = await ask("/field/api/pack", { headers: { ...auth, ...(tag ? { "If-None-Match": tag } : {}) } });
    if (answer.status === 401) heard({ needs: "word" });
    if (!answer.ok) return mine;
    const pack = JSON.parse(answer.body);
    if (!Array.isArray(pack.trees)) return mine;
    pack.round.instrument ??= "girth tape";
    pack.round.unit ??= "cm";
    if (pack.map.picture) await keepPicture(pack.map.picture.address, auth);
    await keep.set("pack", pack).then(() => keep.set("pack_tag", answer.header("ETag"))).catch(() => {});
    return pack;
  } catch { return mine; }
}

async function keepPicture(address, headers) {
  try {
    const answer = await ask(address, { headers }, "blob");
    if (answer.ok) await keep.set("plan", answer.body);
  } catch { /* the outline is drawn instead */ }
}

// --- sending ----------------------------------------------------------------------------------------------

// Sends what waits; now: without waiting for the pause after a failure. One call at a time, one tab at a time.
export function send(now = false) {
  if (now) pause = 0;
  busy ??= sending(now).catch(() => later()).finally(() => { busy = null; });
  return busy;
}

async function sending(now) {
  if (!now && Date.now() < until) return;
  clearTimeout(timer);
  const me = await keep.get("me");
  if (!me) return;
  const wasFree = await keep.alone(() => batches(me));
  if (!wasFree) later(5000);
}

function later(wait = null) {
  pause = wait ?? Math.min(LONGEST_MS, Math.max(5000, pause * 2));
  until = Date.now() + pause;
  clearTimeout(timer);
  timer = setTimeout(() => send(true), pause * (0.8 + 0.4 * Math.random()));
}

// Dangers first, then as entered; those of one format together, as a newer program may have been here.
function nextBatch(all, me, tried) {
  const mine = all.filter((item) => item.state === keep.WAITING && !tried.has(item.id) && (!item.site || item.site === me.site));
  mine.sort((a, b) => (b.kind === "danger") - (a.kind === "danger") || a.order - b.order);
  return mine.filter((item) => item.format === mine[0].format).slice(0, MOST);
}

async function batches(me) {
  const tried = new Set();
  for (;;) {
    const batch = nextBatch(await keep.items(), me, tried);
    if (!batch.length) break;
    for (const item of batch) tried.add(item.id);
    if (!(await sent(batch, me))) return;
  }
  await sendPictures(me);
}

async function body(batch, me) {
  const items = batch.map(({ kind, id, recorded_at, crew, content }) => ({ kind, id, recorded_at, crew: crew ?? me.crew, content }));
  return { format: batch[0].format, phone: await keep.get("phone"), program, sent_at: keep.deviceTime(), items };
}

// Whether to go on with the next batch.
async function sent(batch, me) {
  const asked = Date.now();
  let answer, said;
  try {
    answer = await posted("/field/api/send", await body(batch, me), me.token);
    if (answer.ok) said = JSON.parse(answer.body);
  } catch { later(); return false; }
  if (answer.ok && Array.isArray(said?.answers)) return noted(said, asked);
  if ([400, 413, 422].includes(answer.status)) return halved(batch, me, answer);
  if (answer.status === 401) { heard({ needs: "word" }); return false; }
  const reason = answer.ok ? null : why(answer); // a portal or a proxy answers with a page
  heard({ needs: answer.status < 500 && answer.status !== 429 ? reason : null });
  later(Number(answer.header("Retry-After")) * 1000 || null);
  return false;
}

async function noted(said, asked) {
  const states = { taken: keep.TAKEN, "already there": keep.TAKEN, questioned: keep.ASKED, "set aside": keep.ASIDE, refused: keep.REFUSED };
  const answers = {};
  for (const { id, outcome, why: reason } of said.answers) {
    if (states[outcome]) answers[id] = { state: states[outcome], why: reason ?? null };
  }
  await keep.mark(answers);
  pause = 0;
  heard({ needs: null });
  clockIs(said.received_at, asked);
  return Object.keys(answers).length > 0;
}

// A batch that is not taken as a whole is sent in halves, so that one bad item holds up no other.
async function halved(batch, me, answer) {
  if (batch.length === 1) {
    await keep.mark({ [batch[0].id]: { state: keep.REFUSED, why: why(answer) } });
    return true;
  }
  const middle = batch.length >> 1;
  return (await sent(batch.slice(0, middle), me)) && sent(batch.slice(middle), me);
}

// What was refused is sent again only when somebody asks for it.
export async function again() {
  const refused = (await keep.items()).filter((item) => item.state === keep.REFUSED);
  await keep.mark(Object.fromEntries(refused.map((item) => [item.id, { state: keep.WAITING, why: null }])));
  return send(true);
}

async function sendPictures(me) {
  for (const { id, blob, state } of await keep.pictures()) {
    if (state !== keep.WAITING) continue;
    let answer;
    try {
      answer = await ask(`/field/api/photos/${id}`, { method: "PUT", body: blob, headers: { "Content-Type": "image/jpeg", Authorization: `Bearer ${me.token}` } });
    } catch { later(); return; }
    if (answer.ok) await keep.dropPicture(id);
    else if (answer.status === 401) { heard({ needs: "word" }); return; }
    else if ([400, 413, 415, 422].includes(answer.status)) await keep.refusePicture(id, why(answer));
    else { later(); return; }
  }
}
