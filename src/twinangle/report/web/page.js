/* Draws the recording that is chosen, and moves what is in view by pointer, key or button. */
(() => {
"use strict";
const recordings = JSON.parse(document.getElementById("recordings").textContent);
const MINUS = "\u2212";
const COLOURS = ["#17508f", "#dd8316", "#8fa9c6", "#eebf8c"];
const FIRST_S = 12; // what of a trace is in view at first

const shown = (value, decimals) => {
  const text = value.toFixed(decimals);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", MINUS);
};
const scaled = (values, by) => values.map(each => each === null ? null : each / by);
const element = (name, text, className) => {
  const made = document.createElement(name);
  if (text) made.textContent = text;
  if (className) made.className = className;
  return made;
};

/* Times of a thinned trace: two points a bin, and a third where a gap ends the line. */
const timesOf = trace => {
  const times = [], broken = new Set(trace.breaks);
  const bins = trace.bin_s > 0;
  for (let point = 0; times.length < trace.wearable.length; point++) {
    times.push(trace.first_s + point * trace.step_s);
    if (bins && point % 2 === 1 && broken.has((point - 1) / 2))
      times.push(trace.first_s + (point + 0.5) * trace.step_s);
  }
  return times;
};

const traceLines = trace => {
  if (!trace) return null;
  const lines = [{label: "wearable", values: scaled(trace.wearable, 10), look: 0}];
  if (trace.reference)
    lines.push({label: "reference", values: scaled(trace.reference, 10), look: 1});
  return {x: timesOf(trace), lines, decimals: 1, xDecimals: 2, xUnit: " s", xLabel: "Time (s)", first: FIRST_S};
};

const cycleLines = cycles => {
  if (!cycles) return null;
  const named = [
    ["wearable", `wearable, ${cycles.n_kept} kept`], ["reference", "reference, kept"],
    ["wearable_out", `wearable, ${cycles.n_out} left out`], ["reference_out", "reference, left out"],
  ];
  const lines = [];
  named.forEach(([key, label], look) => {
    if (cycles[key]) lines.push({label, values: scaled(cycles[key], 100), look});
  });
  const last = cycles.wearable.length - 1;
  const x = cycles.wearable.map((_, k) => 100 * k / last);
  return {x, lines, decimals: 2, xDecimals: 1, xUnit: " %", xLabel: "Cycle (%)", first: Infinity};
};

class Plot {
  constructor(id) {
    this.host = document.getElementById(id);
    this.frame = this.host.querySelector(".canvas");
    this.under = this.host.querySelector(".under");
    this.seen = this.host.querySelector(".seen");
    this.drawn = null;
    const steps = {left: () => this.move(-0.25), right: () => this.move(0.25), in: () => this.zoom(0.5),
      out: () => this.zoom(2), all: () => this.view(this.low, this.high)};
    const keys = {ArrowLeft: "left", ArrowRight: "right", "+": "in", "=": "in", "-": "out", "0": "all"};
    this.host.querySelectorAll("button").forEach(button =>
      button.addEventListener("click", () => { steps[button.dataset.do](); this.tell(); }));
    this.frame.addEventListener("keydown", event => {
      const step = event.ctrlKey || event.metaKey || event.altKey ? null : keys[event.key];
      if (!step) return;
      event.preventDefault();
      steps[step]();
      this.tell();
      this.drawn.setCursor({left: this.drawn.over.clientWidth / 2, top: 0});
    });
    new ResizeObserver(() => {
      if (this.drawn && this.frame.clientWidth)
        this.drawn.setSize({width: this.frame.clientWidth, height: this.drawn.height});
    }).observe(this.frame);
  }

  show(name, axis, data) {
    if (this.drawn) this.drawn.destroy();
    this.drawn = null;
    this.host.hidden = data === null;
    if (data === null) return;
    this.data = data;
    this.low = data.x[0];
    this.high = data.x[data.x.length - 1];
    this.frame.setAttribute("aria-label", `${this.host.querySelector("h3").textContent}, ${name}`);
    this.host.querySelector(".key").replaceChildren(...data.lines.map(line => {
      const entry = element("span");
      entry.append(element("i", "", `k${line.look}`), line.label);
      return entry;
    }));
    this.drawn = new uPlot(this.options(axis), [data.x, ...data.lines.map(line => line.values)], this.frame);
    const canvas = this.frame.querySelector("canvas");
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", `${data.lines.map(line => line.label).join("; ")}: ${axis} over ${data.xLabel}`);
    const middle = (this.low + this.high) / 2, half = Math.min(data.first, this.high - this.low) / 2;
    this.view(middle - half, middle + half);
    this.tell();
  }

  options(axis) {
    const ticks = (_, values) => values.map(value => String(value).replace("-", MINUS));
    const font = "12px system-ui, sans-serif";
    const side = {font, labelFont: font, stroke: "#222", grid: {stroke: "#e6e6e6", width: 1}, values: ticks, labelSize: 18};
    return {
      width: this.frame.clientWidth || 300, height: 260, legend: {show: false},
      scales: {x: {time: false}},
      axes: [{...side, label: this.data.xLabel, size: 34}, {...side, label: axis, size: 46}],
      cursor: {drag: {x: true, y: false}, points: {size: 6}},
      series: [{}, ...this.data.lines.map(line => ({label: line.label, stroke: COLOURS[line.look], width: 1.5,
        dash: line.look % 2 ? [6, 3] : undefined, points: {show: false}, spanGaps: false}))],
      hooks: {setCursor: [plot => this.read(plot)], setSelect: [() => setTimeout(() => this.tell())],
        ready: [plot => plot.over.addEventListener("dblclick", () => setTimeout(() => this.tell()))]},
    };
  }

  view(low, high) { this.drawn.setScale("x", {min: Math.max(low, this.low), max: Math.min(high, this.high)}); }

  move(share) {
    const {min, max} = this.drawn.scales.x, width = max - min;
    const low = Math.min(Math.max(min + share * width, this.low), this.high - width);
    this.view(low, low + width);
  }

  zoom(by) {
    const {min, max} = this.drawn.scales.x, middle = (min + max) / 2;
    const least = 10 * (this.data.x[1] - this.data.x[0]);
    const half = Math.min(Math.max(by * (max - min), least), this.high - this.low) / 2;
    const low = Math.min(Math.max(middle - half, this.low), this.high - 2 * half);
    this.view(low, low + 2 * half);
  }

  /* The values beneath the pointer. */
  read(plot) {
    const at = plot.cursor.idx, {lines, decimals, x, xDecimals, xUnit} = this.data;
    if (at === null || at === undefined || plot.cursor.left < 0) { this.under.textContent = "\u00a0"; return; }
    const values = lines.map(line => {
      const value = line.values[at];
      return `${line.label} ${value === null ? "no value" : `${shown(value, decimals)}°`}`;
    });
    this.under.textContent = `${shown(x[at], xDecimals)}${xUnit}: ${values.join("; ")}`;
  }

  /* What is in view, as a sentence that is read out. */
  tell() {
    requestAnimationFrame(() => {
      const {min, max} = this.drawn.scales.x, {x, lines, decimals, xDecimals, xUnit} = this.data;
      const said = lines.map(line => {
        let low = Infinity, high = -Infinity, gap = false;
        for (let k = 0; k < x.length; k++) {
          if (x[k] < min || x[k] > max) continue;
          const value = line.values[k];
          if (value === null) gap = true;
          else { low = Math.min(low, value); high = Math.max(high, value); }
        }
        const range = low > high ? "no value" : `${shown(low, decimals)}° to ${shown(high, decimals)}°`;
        return `${line.label} ${range}${gap && low <= high ? ", with a gap" : ""}`;
      });
      this.seen.textContent = `In view: ${shown(min, xDecimals)} to ${shown(max, xDecimals)}${xUnit}; ${said.join("; ")}.`;
    });
  }
}

document.getElementById("explorer").hidden = false;
const trace = new Plot("trace"), cycle = new Plot("cycle");
const chosen = document.getElementById("recording");
const show = () => {
  const recording = recordings[Number(chosen.value)];
  document.getElementById("words").textContent = recording.words;
  trace.show(recording.name, recording.axis, traceLines(recording.trace));
  cycle.show(recording.name, recording.axis, cycleLines(recording.cycles));
};
chosen.addEventListener("change", show);
show();
})();
