// Joining a team by its word: once, with a connection. A new word later keeps everything that was entered.
"use strict";

import { button, field, h, line, title } from "./dom.js";
import { isUnsent } from "./keep.js";
import { join } from "./send.js";
import { t } from "./words.js";

export async function show(place, state, go) {
  const word = field(t("word"), { hint: t("word_hint"), value: state.args.word ?? "" });
  const send = button(t("join"), () => {}, "main");
  const form = h("form", {}, word, h("div", { class: "acts" }, send));
  send.type = "submit";
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const said = word.input.value.trim().toLowerCase().replace(/[\s+-]+/g, " ");
    if (!said) { word.fault(t("word_missing")); return; }
    send.disabled = true;
    word.fault("");
    const { me, fault, wait } = await join(said);
    send.disabled = false;
    if (me) { await go.joined(me); go.instead("next"); return; }
    word.fault(fault ? `${fault}${wait ? ` ${t("wait", { num: Math.ceil(wait / 60) })}` : ""}` : t("no_connection"));
  });
  const waiting = state.items.filter(isUnsent).length;
  place.append(title(t("join_title")), line(t("join_says")), form, line(t("no_names"), "hint"));
  if (waiting) place.append(line(t("kept_until", { num: waiting })));
  if (state.me) place.append(line(t("joined_as", { crew: state.me.crew, site: state.me.site_name }), "hint"));
  if (state.args.word && !state.me) setTimeout(() => form.requestSubmit());
}
