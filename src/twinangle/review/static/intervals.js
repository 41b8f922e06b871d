// Standing, functional movement and the analysed stretch: typed here, or dragged as bands.
import { el } from "./draw.js";
import { t, num } from "./words.js";
import { say } from "./main.js";
import { openPending } from "./pending.js";

export class IntervalsPart {
  constructor(view, found) {
    this.view = view;
    this.bands = found.map((one) => ({ ...one }));
    this.inputs = {};
  }

  build(standing) {
    return el("section", { class: "card", "aria-labelledby": "intervals-head" },
      el("h3", { id: "intervals-head" }, t("intervals_head")),
      el("p", { class: "help" }, t("intervals_help")),
      ...this.bands.map((band) => this.row(band)),
      standing ? el("p", {}, t("standing_told", { wearable: num(standing.wearable_deg), reference: num(standing.reference_deg) })) : null);
  }

  row(band) {
    const name = t(`interval_${band.which}`);
    const note = band.own_file ? t("interval_own_file") : band.start_s === null && band.end_s === null ? t("interval_not_given") : "";
    this.inputs[band.which] = {};
    const input = (side, key) => {
      const made = el("input", { type: "number", step: "0.1", id: `${band.which}-${side}`, oninput: () => {
        band[side] = Number.isFinite(made.valueAsNumber) ? made.valueAsNumber : null;
        this.view.rows?.redraw();
      } });
      if (band[side] !== null) made.value = round(band[side]);
      this.inputs[band.which][side] = made;
      return el("label", {}, el("span", {}, t(key)), made);
    };
    return el("fieldset", {}, el("legend", {}, name), note ? el("span", { class: "help" }, note) : null,
      input("start_s", "interval_start"), input("end_s", "interval_end"),
      el("button", { type: "button", "data-decide": band.which, "aria-label": `${name}: ${t("decide_interval")}`, onclick: () => this.decide(band) }, t("decide_interval")));
  }

  dragged(band, side, time, settled) {
    const ends = side === "both" ? { start_s: time[0], end_s: time[1] } : { [side]: time };
    for (const [end, at] of Object.entries(ends)) { band[end] = round(at); this.inputs[band.which][end].value = band[end]; }
    this.view.rows.redraw();
    if (settled) this.decide(band);
  }

  decide(band) {
    const ends = this.view.span;
    const start = band.start_s ?? round(ends[0]), end = band.end_s ?? round(ends[1]);
    if (!(start < end)) { say(t("interval_order")); this.inputs[band.which].end_s.focus(); return; }
    openPending({
      number: this.view.number, kind: "interval", reasons: "why_interval",
      value: () => ({ which: band.which, start_s: band.start_s ?? start, end_s: band.end_s ?? end }),
      what: t("interval_what", { which: t(`interval_${band.which}`), start: num(start, 1), end: num(end, 1) }),
    });
  }
}

function round(time) { return Math.round(time * 100) / 100; }
