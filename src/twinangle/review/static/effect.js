// The numbers before and after: without decisions, with those that stand, with one more.
import { el } from "./draw.js";
import { t, num } from "./words.js";

const OWN = ["offset_deg", "rms_deg", "wearable_sd_deg", "reference_sd_deg"];
const LIMITS = ["bias_deg", "lower_deg", "upper_deg"];

export function effectTable(found) {
  const columns = ["automatic", "now", "with"].filter((name) => found[name]);
  const cell = (one, text) => el("td", {}, one.status === "failed" ? t("effect_refused") : text);
  const rows = [
    el("tr", {}, el("th", { scope: "row" }, t("effect_kept")),
      ...columns.map((name) => cell(found[name], found[name].kept === null ? "–" : `${found[name].kept} / ${found[name].found}`))),
    ...OWN.map((key) => el("tr", {}, el("th", { scope: "row" }, t(`effect_${key}`)),
      ...columns.map((name) => cell(found[name], num(found[name][key]))))),
    ...LIMITS.map((key) => el("tr", {}, el("th", { scope: "row" }, t(`effect_${key}`)),
      ...columns.map((name) => el("td", {}, num(found[name].limits?.[key]))))),
  ];
  const reasons = [...new Set(columns.filter((name) => found[name].status === "failed").map((name) => found[name].reason))];
  return el("div", { class: "wide", tabindex: 0, role: "group", "aria-label": t("effect_head") },
    el("table", {}, el("caption", {}, t("effect_caption")),
      el("thead", {}, el("tr", {}, el("td"), ...columns.map((name) => el("th", { scope: "col" }, t(`effect_${name}`))))),
      el("tbody", {}, ...rows)),
    ...reasons.map((text) => el("p", { class: "help" }, text)),
    found.ready < found.total ? el("p", { class: "help" }, t("effect_partly", found)) : null,
    el("p", { class: "help" }, t("effect_help")));
}
