// The numbers before and after: without decisions, with those that stand, with one more.
import { el } from "./draw.js";
import { t, num, has } from "./words.js";

const OWN = ["offset_deg", "rms_demeaned_deg", "wearable_sd_deg", "reference_sd_deg"];

export function effectTable(found) {
  if (!found.own) return el("p", { class: "help" }, t("waiting"));
  const columns = ["automatic", "now", "with"].filter((name) => found.own[name]);
  const group = (key) => el("tbody", {}, el("tr", {}, el("th", { scope: "rowgroup", colspan: columns.length + 1, class: "group" }, t(key))));
  const row = (name, cells) => el("tr", {}, el("th", { scope: "row" }, name), ...cells.map((text) => el("td", {}, text)));
  const own = (said) => columns.map((name) => (found.own[name].status === "failed" ? t("effect_refused") : found.own[name].status === "excluded" ? t("effect_out") : said(found.own[name])));
  const here = group("effect_own"), all = group("effect_pooled");
  here.append(row(t("effect_kept"), own((one) => (one.kept === null ? "–" : `${one.kept} / ${one.found}`))),
    ...OWN.map((key) => row(quantity(key), own((one) => num(one[key])))));
  for (const one of found.pooled) all.append(row(quantity(one.quantity), columns.map((name) => num(one[name], one.quantity === "cycles" ? 0 : 2))));
  if (!found.pooled.length) all.append(el("tr", {}, el("td", { colspan: columns.length + 1 }, t("effect_no_pooled"))));
  const reasons = [...new Set(columns.map((name) => found.own[name].reason).filter(Boolean))];
  return el("div", { class: "wide", tabindex: 0, role: "group", "aria-label": t("effect_head") },
    el("table", {}, el("caption", {}, t("effect_caption")),
      el("thead", {}, el("tr", {}, el("td"), ...columns.map((name) => el("th", { scope: "col" }, t(`effect_${name}`))))), here, all),
    ...reasons.map((text) => el("p", { class: "help" }, text)),
    found.ready < found.total ? el("p", { class: "help" }, t("effect_partly", found)) : null,
    el("p", { class: "help" }, t("effect_help")));
}

// "bias_deg of peak_flexion_deg" in words; a quantity without words of its own by its name.
function quantity(name) {
  const [what, of] = name.split(" of ");
  if (has(`effect_${what}`) && of) return `${t(`effect_${what}`)}: ${has(`effect_${of}`) ? t(`effect_${of}`) : of.replaceAll("_", " ")}`;
  return has(`effect_${name}`) ? t(`effect_${name}`) : name.replaceAll("_deg", ", °").replaceAll("_", " ");
}
