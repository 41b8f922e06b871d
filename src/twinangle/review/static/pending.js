// One decision at a time: what it is, its reason, what it would do, save or cancel.
import { el } from "./draw.js";
import { t, choices } from "./words.js";
import { post } from "./api.js";
import { state, say, refresh } from "./main.js";
import { effectTable } from "./effect.js";

const $ = (id) => document.getElementById(id);
let current = null;

export function closePending() {
  const was = current;
  current = null;
  $("pending").hidden = true;
  $("pending").replaceChildren();
  was?.onClose?.();
  if (was?.back?.isConnected) was.back.focus({ preventScroll: true });
}

// `value` may be a function, asked when the decision is saved.
export function openPending({ number, kind, value, what, reasons, onClose, onSaved }) {
  if (current) closePending();
  const choice = el("select", { id: "why-choice" }, el("option", { value: "" }, t("choose")),
    ...choices(reasons).map((text) => el("option", { value: text }, text)), el("option", { value: "*" }, t("own_words")));
  const own = el("input", { id: "why-own", size: 36, maxlength: 500, autocomplete: "off" });
  const effect = el("div", { id: "pending-effect", "aria-live": "polite" });
  const wrong = el("p", { id: "pending-wrong", role: "alert" });
  const now = () => (typeof value === "function" ? value() : value);
  const form = el("form", { class: "tools" },
    el("label", {}, el("span", {}, t("pending_why")), choice),
    el("label", {}, el("span", {}, t("pending_own")), own),
    el("button", { type: "submit", class: "main" }, t("pending_save")),
    state.study.blind || kind === "undo" ? null : el("button", { type: "button", id: "pending-look", onclick: () => look(number, kind, now(), effect) }, t("pending_effect")),
    el("button", { type: "button", onclick: closePending }, t("pending_cancel")));
  form.addEventListener("submit", (event) => { event.preventDefault(); save(); });
  const head = el("h2", { id: "pending-head" }, t("pending_head", { what }));
  $("pending").replaceChildren(head, form, wrong, effect);
  $("pending").hidden = false;
  current = { back: document.activeElement, onClose, head };
  choice.focus();

  async function save() {
    const chosen = choice.value === "*" ? "" : choice.value;
    const why = [chosen, own.value.trim()].filter(Boolean).join(": ");
    if (!why) { wrong.textContent = t("pending_need"); (choice.value === "*" ? own : choice).focus(); return; }
    try {
      await post(`api/decide/${number}`, { kind, value: now(), why, who: state.who });
    } catch (error) { wrong.textContent = t("failed", { why: error.message }); return; }
    const done = $("pending-head").textContent;
    closePending();
    onSaved?.();
    await refresh();
    say(t("saved", { what: done.replace(/^[^:]*: /, "") }));
  }
}

export function rename(what) {
  if (current) current.head.textContent = t("pending_head", { what });
}

async function look(number, kind, value, place) {
  place.textContent = t("effect_computing");
  try {
    place.replaceChildren(effectTable(await post(`api/effect/${number}`, { kind, value })));
  } catch (error) { place.textContent = t("failed", { why: error.message }); }
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && current) closePending();
});
