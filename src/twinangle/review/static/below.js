// Below the cycles: the participant's other conditions, the sensors, the decisions made.
import { el, svg, Frame, range, meanFigure } from "./draw.js";
import { t, num } from "./words.js";
import { state } from "./main.js";
import { openPending } from "./pending.js";

export function besidePart(number) {
  const here = state.study.recordings[number];
  const rows = state.study.recordings.map((row, k) => ({ ...row, number: k }))
    .filter((row) => row.participant === here.participant && row.wearable === here.wearable && row.curve)
    .filter((row, k, all) => row.number === number || row.reference === here.reference || (row.label !== here.label && all.findIndex((one) => one.label === row.label && (one.reference === here.reference || !all.some((other) => other.label === one.label && other.reference === here.reference))) === k));
  const figures = rows.length < 2 && rows[0]?.number === number ? [el("p", {}, t("beside_none"))] : rows.map((row) => {
    const [low, high] = range([row.curve.wearable]);
    const sd = row.curve.wearable_sd.reduce((a, b) => a + b, 0) / row.curve.wearable_sd.length;
    const own = { wearable: row.curve.wearable, wearable_sd: row.curve.wearable_sd };
    return el("figure", {},
      el("figcaption", {}, row.number === number ? row.label : el("a", { href: `#r${row.number}` }, row.label)),
      meanFigure(own, { names: [t("axis_cycle"), t("axis_angle")], words: t("beside_alt", { label: row.label, kept: row.kept, low: num(low, 0), high: num(high, 0), sd: num(sd) }) }),
      el("p", { class: "help" }, `${t("beside_sd", { sd: num(sd) })}; ${t("kept_of", row)}`));
  });
  return el("section", { class: "card", "aria-labelledby": "beside-head" },
    el("h3", { id: "beside-head" }, t("beside_head")), el("div", { class: "side" }, ...figures));
}

export function sensorsPart(sensors, quality) {
  const part = el("section", { class: "card", "aria-labelledby": "sensors-head" }, el("h3", { id: "sensors-head" }, t("sensors_head")));
  if (!sensors.length) { part.append(el("p", {}, t("sensors_none"))); return part; }
  part.append(el("div", { class: "side" }, ...sensors.filter((one) => one.field).map(fieldFigure)));
  const keys = [...new Set(sensors.flatMap((one) => [...Object.keys(one.device), ...Object.keys(one.field || {})]))];
  const value = (one, key) => { const v = one.device[key] ?? one.field?.[key]; return typeof v === "number" ? short(v) : v || "–"; };
  part.append(el("details", {}, el("summary", {}, t("sensors_caption")), el("div", { class: "wide", tabindex: 0, role: "group", "aria-label": t("sensors_caption") }, el("table", {},
    el("thead", {}, el("tr", {}, el("th", { scope: "col" }, t("sensors_quantity")), ...sensors.map((one) => el("th", { scope: "col" }, t(one.segment))))),
    el("tbody", {}, ...keys.map((key) => el("tr", {}, el("th", { scope: "row" }, key.replaceAll("_", " ")), ...sensors.map((one) => el("td", {}, value(one, key))))),
      ...Object.entries(quality).filter(([, v]) => v !== null).map(([key, v]) => el("tr", {}, el("th", { scope: "row" }, key.replaceAll("_", " ")), el("td", { colspan: sensors.length }, short(v)))))))));
  return part;
}

function short(v) { return Math.abs(v) >= 100 ? num(v, 0) : String(Number(v.toPrecision(3))).replace("-", "−"); }

function fieldFigure(sensor) {
  const deviation = sensor.norm_deviation.map((v) => (v === null ? NaN : 100 * v)), times = sensor.time_s;
  const [low, high] = range([deviation, [0]]);
  const frame = new Frame({ width: 400, height: 130, x: [times[0], times[times.length - 1]], y: [low, high] });
  const marks = sensor.disturbed_share.map((share, i) => (share > 0.5 ? svg("rect", { x: frame.px(times[i]) - 1, y: 130 - 30 - 5, width: 2, height: 5, class: "mark" }) : null));
  const disturbed = sensor.disturbed_share.filter((share) => share > 0.5).length / times.length;
  return el("figure", {}, el("figcaption", {}, t("field_of", { segment: t(sensor.segment) })),
    svg("svg", {
      viewBox: "0 0 400 130", role: "img", "aria-label": t("field_alt", {
        segment: t(sensor.segment), duration: num(times[times.length - 1] - times[0], 0), low: num(low, 0), high: num(high, 0), share: num(100 * disturbed, 0),
      }),
    }, frame.axes("s", "%"), svg("path", { class: "curve wearable", d: frame.path(times, deviation) }), ...marks));
}

export function decisionsPart(number) {
  const { label, instruments, state: found } = state.study.recordings[number];
  const own = state.study.decisions.filter((one) => one.kind !== "blind" && one.units.includes(number));
  const items = own.map((one) => el("li", { class: one.stands ? null : "fallen" },
    `${one.id}. ${inWords(one)}${one.why ? ` — ${one.why}` : ""} (${one.who}, ${one.when.replace("T", " ").replace("Z", " UTC")}; ${one.stands ? t("decision_stands") : t("decision_not", { why: one.why_not })}) `,
    one.stands && !["looked", "blind"].includes(one.kind) ? el("button", { type: "button", onclick: () => undo(number, one) }, t("undo")) : null));
  const out = found !== "excluded";
  const whole = el("button", { type: "button", id: "decide-recording", onclick: () => openPending({
    number, kind: "recording", value: { use: !out }, reasons: out ? "why_recording_out" : "why_recording_in",
    what: t(out ? "recording_out" : "recording_in", { label }),
  }) }, t(out ? "decide_recording_out" : "decide_recording_in"));
  return el("section", { class: "card", "aria-labelledby": "decisions-head", id: "decisions" },
    el("h3", { id: "decisions-head" }, instruments ? t("decisions_head_of", { instruments }) : t("decisions_head")),
    items.length ? el("ol", { class: "decisions flags" }, ...items) : el("p", {}, t("decisions_none")), whole);
}

function undo(number, one) {
  openPending({ number, kind: "undo", value: { of: one.id }, what: t("undo_what", one), reasons: "why_undo" });
}

function inWords(one) {
  const value = Object.fromEntries(Object.entries(one.value).map(([k, v]) => [k, k === "which" ? t(`interval_${v}`) : typeof v === "number" && k !== "of" ? num(v, k === "lag_s" ? 3 : 2) : v]));
  const side = one.kind === "cycle" || one.kind === "recording" ? (one.value.use ? "_in" : "_out") : "";
  const of = one.wearable && one.reference ? t("pair", one) : one.wearable || (one.reference ? t("holds_reference", one) : "");
  return t(`kind_${one.kind}${side}`, { drift_ppm: 0, ...value }) + (of ? `, ${of}` : "");
}
