// A picture: taken or chosen, made smaller on the phone (which also leaves away where and when it was taken), kept
// apart from measurements and sent after them.
"use strict";

import { button, h, line, title } from "./dom.js";
import * as keep from "./keep.js";
import { t } from "./words.js";

const LONGEST_PX = 1600, QUALITY = 0.8, MOST_BYTES = 8 * 1024 * 1024, ASIDE_SHARE = 4;

export async function show(place, state, go) {
  const { subject, subject_id, kind = "other" } = state.args;
  const told = h("p", { class: "big", role: "status" });
  const camera = h("input", { type: "file", accept: "image/*", capture: "environment", hidden: true, tabindex: "-1", "aria-label": t("ph_take") });
  const chooser = h("input", { type: "file", accept: "image/*", hidden: true, tabindex: "-1", "aria-label": t("ph_choose") });
  const stays = h("ul", { class: "rows" });
  const list = async () => stays.replaceChildren(...(await keep.pictures()).filter((one) => one.state === keep.REFUSED).map((one) =>
    h("li", {}, line(one.why ?? "", "said"), button(t("ph_drop"), () => keep.dropPicture(one.id).then(list), "quiet"))));
  const take = async (input) => {
    const file = input.files[0];
    input.value = "";
    if (!file) return;
    told.textContent = t("ph_working");
    told.textContent = await kept(file, { subject, subject_id, kind }, go);
    list();
  };
  for (const input of [camera, chooser]) input.addEventListener("change", () => take(input));
  await list();
  place.append(title(t("photo")), line(t(`ph_of_${kind}`)), line(t("ph_nobody")), told, camera, chooser, h("div", { class: "acts" },
    button(t("ph_take"), () => camera.click(), "main"), button(t("ph_choose"), () => chooser.click(), "quiet"), button(t("ph_done"), () => go.back(), "quiet")), stays);
}

// Keeps a picture and returns what is to be said of it.
async function kept(file, of, go) {
  const id = keep.uuid(), small = await smaller(file);
  if (!small) return aside(id, file);
  try { await keep.putPicture(id, small); } catch { return t("ph_no_room"); }
  await go.entered("photo", { photo_id: id, ...of, taken_at: keep.deviceTime() });
  return t("ph_kept");
}

// A JPEG of at most 1600 px; null where this device cannot read the picture.
async function smaller(file) {
  try {
    const picture = await createImageBitmap(file);
    const share = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
    const canvas = h("canvas", { width: Math.max(1, Math.round(picture.width * share)), height: Math.max(1, Math.round(picture.height * share)) });
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const blob = await new Promise((done) => { canvas.toBlob(done, "image/jpeg", QUALITY); });
    return blob?.type === "image/jpeg" && blob.size <= MOST_BYTES ? blob : null;
  } catch { return null; }
}

// What cannot be made smaller stays on the phone, with why, unless measurements would lack the room.
async function aside(id, file) {
  const { quota = Infinity, usage = 0 } = (await navigator.storage?.estimate?.().catch(() => ({}))) ?? {};
  if (!file.type.startsWith("image/")) return t("ph_no_picture");
  if (quota - usage < ASIDE_SHARE * file.size) return t("ph_no_room");
  try { await keep.putPicture(id, file, t("ph_aside")); } catch { return t("ph_no_room"); }
  return t("ph_not_sent");
}
