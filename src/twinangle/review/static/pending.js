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
  const holds = holdsPart(state.study.recordings[number], kind);
  const form = el("form", { class: "tools" },
    el("label", {}, el("span", {}, t("pending_why")), choice),
    el("label", {}, el("span", {}, t("pending_own")), own), holds.part,
    el("button", { type: "submit", class: "main" }, t("pending_save")),
    state.study.blind || kind === "undo" ? null : el("button", { type: "button", id: "pending-look", onclick: () => look(number, { kind, value: now(), holds: holds.value() }, effect) }, t("pending_effect")),
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
      await post(`api/decide/${number}`, { kind, value: now(), why, who: state.who, holds: holds.value() });
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

// Which of several instruments a decision holds for: said where that is settled, else chosen.
const HOLDS = { lag: ["pair"], interval: ["wearable"], cycle: ["wearable", "pair"], recording: ["all", "wearable", "reference", "pair"] };

function holdsPart(row, kind) {
  const words = { all: "", wearable: row.wearable, reference: row.reference && t("holds_reference", row), pair: row.wearable && row.reference && row.instruments };
  // One reference: a pair is its wearable, and the other way about.
  const able = (HOLDS[kind] || []).filter((one) => one === "all" || words[one] || one === HOLDS[kind][0]);
  if (!row.instruments || !able.length) return { part: null, value: () => "" };
  const said = (one) => (one === "all" ? t("holds_all") : one === "wearable" && words[one] ? t("holds_wearable", row) : words[one] || row.instruments);
  if (able.length === 1) return { part: el("span", { class: "help", id: "holds" }, t("holds_said", { what: said(able[0]) })), value: () => able[0] };
  const choice = el("select", { id: "holds" }, ...able.map((one) => el("option", { value: one }, said(one))));
  return { part: el("label", {}, el("span", {}, t("holds")), choice), value: () => choice.value };
}

async function look(number, thought, place) {
  place.textContent = t("effect_computing");
  try {
    place.replaceChildren(effectTable(await post(`api/effect/${number}`, thought)));
  } catch (error) { place.textContent = t("failed", { why: error.message }); }
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && current) closePending();
});
