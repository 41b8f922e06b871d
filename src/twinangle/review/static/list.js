// Every recording, what needs eyes first before the others.
import { el, meanFigure, range } from "./draw.js";
import { t, num } from "./words.js";
import { state, isLooked, standing } from "./main.js";

const $ = (id) => document.getElementById(id);
const SHOWS = ["all", "open", "eyes", "decided", "refused"];
const SORTS = ["urgency", "table", "condition", "kept"];
const MOST_FLAGS = 3;
let drawn = "";

export function beginList() {
  for (const one of SHOWS) $("filter-show").append(el("option", { value: one }, t(`show_${one}`)));
  for (const one of SORTS) $("sort-by").append(el("option", { value: one }, t(`sort_${one}`)));
  for (const id of ["filter-text", "filter-show", "sort-by"]) $(id).addEventListener("input", () => showList(state.study));
}

// The order that the list has, for going to the next.
export function ordered(study) {
  const rows = study.recordings.map((row, number) => ({ ...row, number }));
  const by = {
    urgency: (a, b) => a.urgency - b.urgency || a.number - b.number,
    table: (a, b) => a.number - b.number,
    condition: (a, b) => a.condition.localeCompare(b.condition) || a.number - b.number,
    kept: (a, b) => (a.kept ?? -1) - (b.kept ?? -1) || a.number - b.number,
  }[$("sort-by").value || "urgency"];
  return rows.sort(by);
}

function fits(row) {
  const what = $("filter-show").value || "all", text = $("filter-text").value.trim().toLowerCase();
  if (text && !row.label.toLowerCase().includes(text)) return false;
  if (what === "open") return !isLooked(row.label);
  if (what === "eyes") return row.urgency < 3;
  if (what === "decided") return decided(row.label).length > 0;
  if (what === "refused") return row.state === "failed";
  return true;
}

function decided(label) {
  return standing(label).filter((one) => !["looked", "undo"].includes(one.kind));
}

export function showList(study) {
  const rows = ordered(study).filter(fits);
  const now = JSON.stringify([rows, study.decisions.length]);
  if (now === drawn) return;
  drawn = now;
  const focused = document.activeElement?.closest?.("#list a")?.getAttribute("href");
  $("list-count").textContent = rows.length ? t("list_count", { shown: rows.length, total: study.recordings.length }) : t("list_empty");
  $("list").replaceChildren(...rows.map(item));
  if (focused) $("list").querySelector(`a[href="${focused}"]`)?.focus();
}

function item(row) {
  const n = decided(row.label).length;
  const facts = [
    t(`state_${row.state}`), row.again ? t("again") : null,
    row.found === undefined ? null : t("kept_of", { kept: row.kept, found: row.found }),
    row.has_reference ? null : t("no_reference"),
    n === 1 ? t("decisions_1") : n ? t("decisions_n", { n }) : null,
    isLooked(row.label) ? t("looked") : t("not_looked"),
  ].filter(Boolean);
  return el("li", { "data-urgency": row.urgency },
    row.curve ? small(row.curve) : el("span"),
    el("div", {},
      el("a", { href: `#r${row.number}` }, row.label),
      el("div", { class: "facts" }, ...facts.map((text) => el("span", {}, text))),
      flagList(row, MOST_FLAGS)));
}

export function flagList(row, most) {
  if (row.state === "waiting") return null;
  if (row.state === "excluded") return el("p", { class: "facts" }, row.reason);
  if (!row.flags.length) return el("p", { class: "facts" }, t("nothing_to_look"));
  const shown = row.flags.slice(0, most).map((flag) => el("li", {},
    el("span", { class: `flag ${flag.gravity}` }, `${t(flag.gravity)}: ${t(`topic_${flag.topic}`)}`), short(flag.text, most)));
  if (row.flags.length > most) shown.push(el("li", {}, t("more_flags", { n: row.flags.length - most })));
  return el("ul", { class: "flags" }, ...shown);
}

function short(text, most) {
  return most > 10 || text.length < 190 ? text : `${text.slice(0, 180).replace(/\s\S*$/, "")} …`;
}

function small(curve) {
  const [low, high] = range([curve.wearable]);
  const other = curve.reference ? range([curve.reference]) : null;
  return meanFigure(curve, {
    width: 140, height: 72, axes: false,
    words: t("mean_curve_alt", {
      low: num(low, 0), high: num(high, 0),
      reference: other ? t("mean_curve_reference", { low: num(other[0], 0), high: num(other[1], 0) }) : "",
    }),
  });
}
