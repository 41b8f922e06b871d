// One recording: its traces above, then clock, cycles, intervals, and what lies beside and below.
import { el } from "./draw.js";
import { t, num } from "./words.js";
import { post } from "./api.js";
import { fetched, forget, keyOf, known } from "./ahead.js";
import { state, say, refresh } from "./main.js";
import { flagList, ordered } from "./list.js";
import { Trace } from "./tiles.js";
import { Rows } from "./rows.js";
import { ClockPart } from "./clock.js";
import { CyclesPart } from "./cycles.js";
import { IntervalsPart } from "./intervals.js";
import { besidePart, sensorsPart, decisionsPart } from "./below.js";
import { effectTable } from "./effect.js";

export class RecordingView {
  constructor(host, number) {
    Object.assign(this, { host, number, ended: false, rows: null, seen: "" });
    this.clock = { lag_s: 0, drift_ppm: 0 };
  }

  async begin() {
    this.host.replaceChildren(this.head());
    await this.load();
  }

  end() {
    this.ended = true;
    this.rows?.end();
    this.host.replaceChildren();
  }

  // What others have changed: drawn again where this recording is concerned.
  async update() {
    if (this.ended) return;
    const row = state.study.recordings[this.number];
    this.host.querySelector("#decisions")?.replaceWith(decisionsPart(this.number));
    this.host.querySelector("#recording-flags")?.replaceWith(this.flags());
    if (this.seen && this.seen !== keyOf(this.number)) await this.load();
    else if (!this.rows && row.state !== "waiting") await this.load();
  }

  head() {
    const row = state.study.recordings[this.number];
    const order = ordered(state.study).map((one) => one.number), at = order.indexOf(this.number);
    const link = (key, to) => (to === undefined ? null : el("a", { href: `#r${to}` }, t(key)));
    return el("div", {}, el("nav", { class: "tools", "aria-label": t("list_head") }, el("a", { href: "#" }, t("back")), link("previous", order[at - 1]), link("next", order[at + 1])),
      el("h2", { id: "recording-head" }, row.label), this.instruments(row), this.flags(),
      el("button", { type: "button", id: "mark-looked", onclick: () => this.looked(order[at + 1]) }, t("mark_looked")));
  }

  // Which wearable against which reference is looked at, and the others of this recording.
  instruments(row) {
    const same = state.study.recordings.map((one, number) => ({ ...one, number })).filter((one) => one.label === row.label);
    if (!row.instruments) return null;
    if (same.length < 2) return el("p", { id: "instruments-here" }, `${t("instruments")}: ${row.instruments}`);
    const choice = el("select", { id: "instruments-here", onchange: () => { location.hash = `#r${choice.value}`; } },
      ...same.map((one) => el("option", { value: one.number, selected: one.number === this.number }, t("instruments_state", { name: one.instruments, state: t(`state_${one.state}`) }))));
    return el("p", { class: "tools" }, el("label", {}, el("span", {}, t("instruments")), choice));
  }

  flags() {
    const row = state.study.recordings[this.number];
    return el("div", { id: "recording-flags" }, el("p", { class: "facts" }, row.again ? t("again") : t(`state_${row.state}`)), flagList(row, 50));
  }

  async looked(next) {
    try {
      await post(`api/decide/${this.number}`, { kind: "looked", value: {}, why: "", who: state.who });
      await refresh();
      location.hash = next === undefined ? "#" : `#r${next}`;
    } catch (error) { say(t("failed", { why: error.message })); }
  }

  async load() {
    const found = known(this.number) || await fetched(this.number);
    if (this.ended) return;
    if (found.waiting) { this.body(el("p", {}, t("waiting"))); return; }
    const first = !this.seen;
    this.seen = keyOf(this.number);
    const view = this.rows?.view, at = placeOf(document.activeElement), old = this.cyclesPart, scrolled = window.scrollY;
    this.tried = this.clockPart?.tried() ?? null; // a lag that is typed but not saved outlives what others save
    this.rows?.end();
    this.rows = null;
    this.found = found;
    const parts = [];
    if (found.unseen) parts.push(el("p", {}, t("unseen", { why: found.unseen })));
    this.intervals = new IntervalsPart(this, found.intervals);
    this.shown = found.traces.wearable || found.traces.turning || found.traces.reference;
    if (this.shown) parts.push(this.tracesPart());
    this.body(...parts);
    if (this.shown) this.plot(view);
    // The traces are painted before the rest is built.
    if (first) requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(() => this.seenFrom(found) && this.below(old, at), 0)));
    else { this.below(old, at); window.scrollTo(0, scrolled); }
  }

  seenFrom(found) { return !this.ended && this.found === found; }

  below(old, at) {
    const { found } = this, parts = [];
    this.cyclesPart = found.cycles ? new CyclesPart(this, found.cycles, old) : null;
    this.clockPart = found.clock && found.traces.wearable ? new ClockPart(this, found.clock) : null;
    if (this.clockPart) parts.push(this.clockPart.build());
    if (found.cut_by) parts.push(el("p", { id: "cut-by" }, t("cut_by", { name: found.cut_by })));
    if (found.day) parts.push(el("p", { id: "day" }, t("day")));
    parts.push(this.cyclesPart ? this.cyclesPart.build() : el("section", { class: "card" }, el("h3", {}, t("cycles_head")), el("p", {}, t("cycles_none"))));
    parts.push(this.intervals.build(found.standing), besidePart(this.number), sensorsPart(found.sensors, found.angle_quality), this.effectPart(), decisionsPart(this.number));
    this.host.querySelector("#recording-body").append(...parts);
    this.clockPart?.fill();
    this.cyclesPart?.showMean(found.curve);
    if (this.clockPart) this.clockPart.ask();
    if (at && document.activeElement === document.body) this.host.querySelector(at)?.focus({ preventScroll: true });
  }

  body(...parts) {
    this.host.querySelector("#recording-body")?.remove();
    this.host.append(el("div", { id: "recording-body" }, ...parts));
  }

  tracesPart() {
    const button = (key, act) => el("button", { type: "button", onclick: () => { act(); this.rows.describe(); } }, t(key));
    this.from = el("input", { id: "view-from", type: "number", step: "any", onchange: () => this.typed() });
    this.to = el("input", { id: "view-to", type: "number", step: "any", onchange: () => this.typed() });
    this.told = el("p", { id: "traces-told", role: "status" });
    this.place = el("div", { class: "rows", tabindex: 0, role: "group", "aria-label": t("traces_label"), onkeydown: (event) => this.keys(event) });
    const choice = (value) => el("label", {}, el("input", {
      type: "radio", name: "drag", value, checked: value === "view", onchange: () => { this.rows.moves = value; this.place.classList.toggle("moves", value === "reference"); },
    }), t(`drag_${value}`));
    return el("section", { class: "card", "aria-labelledby": "traces-head" },
      el("h3", { id: "traces-head" }, t("traces_head")), el("p", { class: "help" }, t("traces_help")),
      el("div", { class: "tools" },
        button("zoom_in", () => this.rows.zoom(0.5)), button("zoom_out", () => this.rows.zoom(2)),
        button("earlier", () => this.rows.pan(-0.5)), button("later", () => this.rows.pan(0.5)), button("whole", () => this.rows.all()),
        el("label", {}, el("span", {}, t("from_s")), this.from), el("label", {}, el("span", {}, t("to_s")), this.to),
        el("fieldset", {}, el("legend", {}, t("drag_moves")), choice("view"), this.found.traces.reference ? choice("reference") : null, choice("band"))),
      this.place, this.told);
  }

  plot(view) {
    const { wearable, turning, reference } = this.found.traces, fixed = { lag_s: 0, drift_ppm: 0 }, first = this.shown;
    const spans = [first, turning || first].map((one) => [one.start_s, one.start_s + one.size / one.rate_hz]);
    this.span = [Math.min(spans[0][0], spans[1][0]), Math.max(spans[0][1], spans[1][1])];
    const both = [wearable, reference].filter(Boolean);
    const low = Math.min(...both.map((one) => one.low)), high = Math.max(...both.map((one) => one.high)), slack = 0.05 * (high - low) + 0.5;
    this.rows = new Rows(this.place, {
      span: this.span, low: low - slack, high: high + slack, onView: (now) => this.viewed(now),
      onLag: (lag, settled) => this.clockPart?.set(lag, this.clock.drift_ppm, settled),
      onBand: (...what) => this.intervals.dragged(...what),
      onPick: (time) => this.cyclesPart?.pick(time),
    });
    this.rows.bands = this.intervals.bands;
    const again = () => this.rows?.redraw();
    const made = (info) => Object.assign(new Trace(info, again), { onLost: () => this.lost() });
    if (wearable) this.rows.add("wearable", made(wearable), fixed);
    if (turning) this.rows.add("turning", made(turning), fixed, [0, 1.05 * turning.high + 1]);
    if (this.found.clock) Object.assign(this.clock, this.tried ?? { lag_s: this.found.clock.lag_s, drift_ppm: this.found.clock.drift_ppm });
    if (reference) this.rows.add("reference", made(reference), this.clock);
    if (view) this.rows.show(...view);
    else this.viewed(this.rows.view); // each row was painted as it was made
    setTimeout(() => this.ended || this.rows?.describe(), 600);
  }

  // The row of the difference, and the mean curves, as the reference is placed now.
  placed(found) {
    const info = found.difference, slack = 0.05 * (info.high - info.low) + 0.2;
    const trace = new Trace(info, () => this.rows?.redraw());
    let row = this.rows.row("difference");
    if (row) { row.trace = trace; row.range = [info.low - slack, info.high + slack]; } else row = this.rows.add("difference", trace, { lag_s: 0, drift_ppm: 0 }, [info.low - slack, info.high + slack]);
    this.rows.redraw();
    row.plot.redraw();
    if (found.curve) this.cyclesPart?.showMean(found.curve);
  }

  // The server has let go of a trace: ask for the recording again, once.
  async lost() {
    if (this.ended || this.refetched) return;
    this.refetched = true;
    forget(this.number);
    await this.load();
  }

  viewed([from, to]) {
    if (document.activeElement !== this.from) this.from.value = from.toFixed(2);
    if (document.activeElement !== this.to) this.to.value = to.toFixed(2);
    clearTimeout(this.later);
    this.later = setTimeout(() => {
      if (this.ended) return;
      const wearable = this.shown, { reference } = this.found.traces;
      this.told.textContent = t("traces_told", {
        from: num(from, 1), to: num(to, 1), whole: num(this.span[1] - this.span[0], 1), missing_wearable: wearable.missing,
        missing_reference: reference ? this.covered(reference) : "",
      });
    }, 400);
  }

  // What the reference lacks, and how much of the recording it covers as it is placed now.
  covered(reference) {
    const { lag_s, drift_ppm } = this.clock, scale = 1 + drift_ppm * 1e-6;
    const ends = [reference.start_s, reference.start_s + reference.size / reference.rate_hz].map((time) => time * scale + lag_s);
    const from = Math.max(ends[0], this.span[0]), to = Math.min(ends[1], this.span[1]);
    return from < to
      ? t("traces_told_reference", { missing: reference.missing, from: num(from, 1), to: num(to, 1) })
      : t("traces_told_reference_beside", { missing: reference.missing });
  }

  typed() {
    const from = this.from.valueAsNumber, to = this.to.valueAsNumber;
    if (from < to) { this.rows.show(from, to); this.rows.describe(); }
  }

  keys(event) {
    const act = {
      ArrowLeft: () => this.rows.pan(-0.1), ArrowRight: () => this.rows.pan(0.1), ArrowUp: () => this.rows.zoom(0.8), ArrowDown: () => this.rows.zoom(1.25),
      "+": () => this.rows.zoom(0.8), "=": () => this.rows.zoom(0.8), "-": () => this.rows.zoom(1.25), Home: () => this.rows.all(),
    }[event.key];
    if (!act || event.target !== this.place) return;
    event.preventDefault();
    act();
  }

  highlight(stretch) {
    if (!this.rows) return;
    this.rows.bands = [...this.intervals.bands, ...(stretch ? [{ which: "cycle", start_s: stretch[0], end_s: stretch[1] }] : [])];
    this.rows.redraw();
  }

  effectPart() {
    const place = el("div", { "aria-live": "polite" });
    const compute = async () => {
      place.textContent = t("effect_computing");
      try { place.replaceChildren(effectTable(await post(`api/effect/${this.number}`, {}))); } catch (error) { place.textContent = t("failed", { why: error.message }); }
    };
    return el("section", { class: "card", "aria-labelledby": "effect-head" }, el("h3", { id: "effect-head" }, t("effect_head")),
      state.study.blind ? el("p", {}, t("effect_blind")) : el("button", { type: "button", id: "compute", onclick: compute }, t("effect_show")), place);
  }
}

// Where the focus is, so that it can come back when the recording is drawn again.
function placeOf(one) {
  if (!one || one === document.body) return last;
  if (one.id) return `#${CSS.escape(one.id)}`;
  return one.dataset.cycle ? `button[data-cycle="${one.dataset.cycle}"]` : null;
}

let last = null;
document.addEventListener("focusin", (event) => { if (event.target.closest("#recording-view")) last = placeOf(event.target); });
document.addEventListener("hashchange", () => { last = null; });
