// The reference's clock: the correlation over lags, and a lag that is dragged or typed.
import { el, svg, Frame, range } from "./draw.js";
import { t, num } from "./words.js";
import { post } from "./api.js";
import { state } from "./main.js";
import { openPending, rename } from "./pending.js";

const HEIGHT = 170, WIDE = 760, NARROW = 380; // narrow windows get larger letters

export class ClockPart {
  constructor(view, found) {
    Object.assign(this, { view, found, number: view.number });
    this.began = { lag_s: round(found.lag_s), drift_ppm: found.drift_ppm };
    this.clock = view.clock;
    this.saved = { ...this.began };
    this.width = window.innerWidth < 640 ? NARROW : WIDE;
    this.asking = false;
    this.again = false;
  }

  build() {
    const { found } = this;
    this.lag = el("input", { id: "lag", type: "number", step: "0.001", oninput: () => this.typed() });
    this.drift = el("input", { id: "drift", type: "number", step: "1", oninput: () => this.typed() });
    this.numbers = el("p", { id: "placed", role: "status" });
    this.apart = el("p", { id: "drift-told", class: "help", role: "status" });
    const told = found.state === "refused" ? t("clock_refused")
      : found.method === "manual" ? t("clock_by_hand", { lag: num(found.lag_s, 3), drift: num(found.drift_ppm, 1) })
        : t("clock_found", {
          method: found.method, lag: num(found.lag_s, 3), drift: num(found.drift_ppm, 1),
          error: found.lag_se_s === null ? "" : t("clock_error", { se: num(1000 * found.lag_se_s, 1) }),
        });
    const peaks = found.peaks.length ? el("fieldset", {}, el("legend", {}, t("peaks")), ...found.peaks.map((peak) =>
      el("button", { type: "button", onclick: () => this.set(peak.lag_s, this.clock.drift_ppm, true) },
        t("peak", { lag: num(peak.lag_s, 3), height: num(peak.correlation, 3) })))) : null;
    const part = el("section", { class: "card", "aria-labelledby": "clock-head" },
      el("h3", { id: "clock-head" }, t("clock_head")),
      el("p", {}, told), found.refused && found.refused !== state.study.recordings[this.number].reason ? el("p", {}, found.refused) : null,
      found.lags_s.length ? this.figure() : null, found.window_lag_s.length > 2 ? this.drifts() : null, peaks,
      el("div", { class: "tools" },
        el("label", {}, el("span", {}, t("lag_s")), this.lag), el("label", {}, el("span", {}, t("drift_ppm")), this.drift),
        el("button", { type: "button", id: "fit-drift", onclick: () => this.fit() }, t("fit_drift")),
        el("button", { type: "button", onclick: () => this.set(this.began.lag_s, this.began.drift_ppm, true) }, t("back_to_found")),
        el("button", { type: "button", class: "main", id: "decide-lag", onclick: () => this.decide() }, t("decide_lag"))),
      el("p", { class: "help" }, t("lag_help")), this.apart, this.numbers);
    this.fill();
    return part;
  }

  figure() {
    const { lags_s: lags, correlation } = this.found;
    this.frame = new Frame({ width: this.width, height: HEIGHT, x: [lags[0], lags[lags.length - 1]], y: range([correlation]) });
    this.mark = svg("line", { y1: this.frame.top, y2: HEIGHT - this.frame.bottom, class: "chosen" });
    const top = correlation.indexOf(Math.max(...correlation));
    const made = svg("svg", {
      viewBox: `0 0 ${this.width} ${HEIGHT}`, class: "correlation", role: "img",
      "aria-label": t("correlation_alt", { from: num(lags[0], 0), to: num(lags[lags.length - 1], 0), height: num(correlation[top]), lag: num(lags[top]) }),
    }, this.frame.axes(t("correlation_axis"), ""), svg("path", { class: "curve wearable", d: this.frame.path(lags, correlation) }),
    ...this.found.peaks.map((peak) => svg("circle", { cx: this.frame.px(peak.lag_s), cy: this.frame.py(peak.correlation), r: 4, class: "curve reference" })), this.mark);
    const at = (event) => {
      const box = made.getBoundingClientRect();
      return this.frame.vx((event.clientX - box.left) / box.width * this.width);
    };
    made.addEventListener("pointerdown", (event) => {
      made.setPointerCapture(event.pointerId);
      this.set(at(event), this.clock.drift_ppm, false);
    });
    made.addEventListener("pointermove", (event) => { if (event.buttons) this.set(at(event), this.clock.drift_ppm, false); });
    made.addEventListener("pointerup", (event) => this.set(at(event), this.clock.drift_ppm, true));
    return el("figure", {}, made, el("figcaption", { class: "help" }, t("correlation_label")));
  }

  // The lag in windows over time: on the line where the clocks drift evenly.
  drifts() {
    const { window_time_s: times, window_lag_s: lags, lag_s: lag, drift_ppm: drift } = this.found;
    const away = lags.map((v, i) => 1000 * (v - lag - drift * 1e-6 * times[i]));
    const [low, high] = range([away, [0]]);
    const frame = new Frame({ width: this.width, height: 120, x: [times[0], times[times.length - 1]], y: [low, high], left: 44 });
    return el("figure", {}, svg("svg", {
      viewBox: `0 0 ${this.width} 120`, class: "correlation", role: "img", "aria-label": t("drift_alt", { low: num(low, 1), high: num(high, 1), n: times.length }),
    }, frame.axes("s", "ms"), svg("path", { class: "axis", d: frame.path([frame.x[0], frame.x[1]], [0, 0]) }),
    ...times.map((time, i) => svg("circle", { cx: frame.px(time), cy: frame.py(away[i]), r: 3, class: "curve wearable" }))),
    el("figcaption", { class: "help" }, t("drift_caption")));
  }

  // The clock that was tried here and is not saved; null where it is the one found or decided.
  tried() {
    const { lag_s, drift_ppm } = this.clock, { saved } = this;
    const same = Math.abs(lag_s - saved.lag_s) < 1e-4 && Math.abs(drift_ppm - saved.drift_ppm) < 0.01;
    return same ? null : { lag_s, drift_ppm };
  }

  typed() {
    const lag = this.lag.valueAsNumber, drift = this.drift.valueAsNumber;
    if (Number.isFinite(lag) && Number.isFinite(drift)) this.set(lag, drift, true, true);
  }

  set(lag, drift, settled, typing = false) {
    this.clock.lag_s = round(lag);
    this.clock.drift_ppm = Math.min(Math.max(drift, -10000), 10000);
    this.fill(typing);
    this.view.rows.redraw();
    if (this.deciding) rename(this.what());
    this.ask();
    if (settled) { this.view.rows.describe(); this.view.viewed(this.view.rows.view); }
  }

  fill(typing = false) {
    if (!typing) {
      this.lag.value = this.clock.lag_s.toFixed(3);
      this.drift.value = Number(this.clock.drift_ppm.toFixed(2));
    }
    // What a drift does over the recording: what is left out where it is typed as none.
    const seconds = this.view.span[1] - this.view.span[0], { drift_ppm: drift } = this.clock;
    this.apart.textContent = drift ? t("drift_by", { drift: num(drift, 1), by: num(1e-3 * drift * seconds, 1), seconds: num(seconds, 0) })
      : t("drift_none", { by: num(50e-3 * seconds, 1), seconds: num(seconds, 0) });
    if (this.mark) {
      // A lag beyond the search has its handle at the figure's edge.
      const [low, high] = this.frame.x, x = this.frame.px(Math.min(Math.max(this.clock.lag_s, low), high));
      this.mark.setAttribute("x1", x); this.mark.setAttribute("x2", x);
    }
  }

  // The lag that is shown, to a fraction of a sample, and the drift that goes with it.
  async fit() {
    this.apart.textContent = t("effect_computing");
    try {
      const found = await post(`api/near/${this.number}`, { lag_s: this.clock.lag_s });
      if (this.view.ended) return;
      if (found.lag_s === undefined) { this.apart.textContent = t("fit_none"); return; }
      this.set(found.lag_s, found.drift_ppm, true);
    } catch (error) { this.apart.textContent = t("failed", { why: error.message }); }
  }

  // The difference and the mean curves follow; of several wishes the last is asked for.
  async ask() {
    if (state.study.blind) return;
    if (this.asking) { this.again = true; return; }
    this.asking = true;
    do {
      this.again = false;
      try { this.show(await post(`api/place/${this.number}`, { lag_s: this.clock.lag_s, drift_ppm: this.clock.drift_ppm })); } catch (error) { this.numbers.textContent = t("failed", { why: error.message }); }
    } while (this.again);
    this.asking = false;
  }

  show(found) {
    if (this.view.ended || !found.difference) return;
    this.view.placed(found);
    const n = found.numbers;
    this.numbers.textContent = n.n_cycles === undefined ? t("placed_none") : t("placed_numbers", {
      offset: num(n.offset_deg), rms: num(n.rms_deg), correlation: num(n.correlation, 3), n: n.n_cycles,
    });
  }

  what() { return t("kind_lag", { lag_s: num(this.clock.lag_s, 3), drift_ppm: num(this.clock.drift_ppm, 1) }); }

  decide() {
    this.deciding = true;
    openPending({
      onClose: () => { this.deciding = false; },
      number: this.number, kind: "lag", what: this.what(), reasons: "why_lag",
      onSaved: () => { this.saved = { ...this.clock }; },
      value: () => ({ lag_s: this.clock.lag_s, drift_ppm: this.clock.drift_ppm }),
    });
  }
}

function round(lag) { return Math.round(lag * 1e4) / 1e4; }
