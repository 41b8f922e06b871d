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
  beginInstruments();
  for (const id of ["filter-text", "filter-show", "sort-by", "filter-instruments"]) $(id).addEventListener("input", () => showList(state.study));
}

// Of several instruments the list has every recording under each pair, or under the one that is chosen.
function beginInstruments() {
  const several = [...new Set(state.study.recordings.map((row) => row.instruments).filter(Boolean))];
  $("instruments-label").hidden = several.length < 2;
  $("filter-instruments").append(el("option", { value: "" }, t("instruments_all")), ...several.map((one) => el("option", { value: one }, one)));
}

// Where another pair of instruments is opened than the list is of, the list goes along.
export function chosen(row) {
  const now = $("filter-instruments").value;
  if (now && now !== row.instruments && !ofPair(row, now)) $("filter-instruments").value = row.instruments;
}

// A recording without a reference is under every pair of its wearable.
function ofPair(row, pair) {
  return !pair || row.instruments === pair || (!row.has_reference && state.study.recordings.some((one) => one.instruments === pair && one.wearable === row.wearable));
}

export function titleOf(row) { return row.instruments ? `${row.label}: ${row.instruments}` : row.label; }

// The order that the list has, for going to the next.
export function ordered(study) {
  const rows = study.recordings.map((row, number) => ({ ...row, number }));
  const by = {
    urgency: (a, b) => a.urgency - b.urgency || a.number - b.number,
    table: (a, b) => a.number - b.number,
    condition: (a, b) => a.condition.localeCompare(b.condition) || a.number - b.number,
    kept: (a, b) => (a.kept ?? -1) - (b.kept ?? -1) || a.number - b.number,
  }[$("sort-by").value || "urgency"];
  return rows.filter((row) => ofPair(row, $("filter-instruments").value)).sort(by);
}

function fits(row) {
  const what = $("filter-show").value || "all", text = $("filter-text").value.trim().toLowerCase();
  if (text && !titleOf(row).toLowerCase().includes(text)) return false;
  if (what === "open") return !isLooked(row.number);
  if (what === "eyes") return row.urgency < 3;
  if (what === "decided") return decided(row.number).length > 0;
  if (what === "refused") return row.state === "failed";
  return true;
}

function decided(number) {
  return standing(number).filter((one) => !["looked", "undo"].includes(one.kind));
}

export function showList(study) {
  const rows = ordered(study).filter(fits);
  const now = JSON.stringify([rows, study.decisions.length]);
  if (now === drawn) return;
  drawn = now;
  const focused = document.activeElement?.closest?.("#list a")?.getAttribute("href");
  $("list-count").textContent = rows.length ? t(study.recordings.some((row) => row.instruments) ? "list_count_pairs" : "list_count", { shown: rows.length, total: study.recordings.length }) : t("list_empty");
  $("list").replaceChildren(...rows.map(item));
  if (focused) $("list").querySelector(`a[href="${focused}"]`)?.focus();
}

function item(row) {
  const n = decided(row.number).length;
  const facts = [
    t(`state_${row.state}`), row.again ? t("again") : null,
    row.found === undefined ? null : t("kept_of", { kept: row.kept, found: row.found }),
    row.has_reference ? null : t("no_reference"),
    n === 1 ? t("decisions_1") : n ? t("decisions_n", { n }) : null,
    isLooked(row.number) ? t("looked") : t("not_looked"),
  ].filter(Boolean);
  return el("li", { "data-urgency": row.urgency },
    row.curve ? small(row.curve) : el("span"),
    el("div", {},
      el("a", { href: `#r${row.number}` }, titleOf(row)),
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
