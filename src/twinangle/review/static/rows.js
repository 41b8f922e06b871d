// Rows of traces over one time axis: columns of pixels where samples are dense, a line where not.
import { el } from "./draw.js";
import { t, num } from "./words.js";

const HEIGHT = 150, FOOT = 7, EDGE = 7; // CSS pixels

export class Rows {
  constructor(host, { span, low, high, onView, onLag, onBand, onPick }) {
    Object.assign(this, { host, span, onView, onLag, onBand, onPick });
    this.range = [low, high];
    this.view = [...span];
    this.rows = [];
    this.bands = [];
    this.moves = "view";
    this.waiting = false;
    this.colours = coloursOf(host);
    this.observer = new ResizeObserver(() => this.fit());
    this.observer.observe(host);
  }

  add(name, trace, clock, range) {
    const label = el("p", { class: "row-name" }, t(`row_${name}`));
    const place = el("div", { class: "plot", role: "img" });
    const box = el("div", { class: `row-${name}` }, label, place);
    this.host.append(box);
    const row = { name, trace, clock, place, box, range: range || null };
    row.plot = new uPlot({
      width: this.width(), height: HEIGHT, cursor: { show: false }, legend: { show: false },
      scales: { x: { time: false, auto: false, range: () => this.view }, y: { auto: false, range: () => row.range || this.range } },
      axes: [{ stroke: this.colours.ink, grid: { show: false }, size: 28 },
        { stroke: this.colours.ink, size: 44, grid: { stroke: "#8884" } }],
      series: [{}, { show: true, stroke: "transparent", points: { show: false } }],
      hooks: { drawClear: [(u) => this.paintBands(u, name)], draw: [(u) => this.paint(u, row)] },
    }, [[this.view[0], this.view[1]], [null, null]], place);
    this.listen(row);
    this.rows.push(row);
    this.describe();
    this.first = this.rows[0].name; // the bands are dragged there
    return row;
  }

  width() {
    if (this.wide === undefined) {
      const known = this.rows.length === 0 && measured.inner === window.innerWidth;
      this.wide = known ? measured.wide : Math.max(this.host.clientWidth, 200);
      measured = { inner: window.innerWidth, wide: this.wide };
    }
    return this.wide;
  }

  fit() {
    const now = Math.max(this.host.clientWidth, 200);
    if (now === this.wide) return;
    measured = { inner: window.innerWidth, wide: now };
    this.wide = now;
    for (const row of this.rows) if (row.plot.width !== this.width()) row.plot.setSize({ width: this.width(), height: HEIGHT });
    this.redraw();
  }

  row(name) { return this.rows.find((one) => one.name === name); }

  show(from, to) {
    const whole = this.span[1] - this.span[0];
    const wide = Math.min(Math.max(to - from, 0.05), whole * 1.1 + 1);
    // No more than a twentieth of the picture lies beyond the recording.
    const slack = 0.05 * Math.min(wide, whole), least = this.span[0] - slack, most = this.span[1] + slack - wide;
    let begin = least < most ? Math.min(Math.max(from, least), most) : (least + most) / 2;
    if (!Number.isFinite(begin)) begin = this.span[0];
    this.view = [begin, begin + wide];
    this.redraw();
  }

  pan(share) { const wide = this.view[1] - this.view[0]; this.show(this.view[0] + share * wide, this.view[1] + share * wide); }

  zoom(factor, at = (this.view[0] + this.view[1]) / 2) {
    this.show(at - (at - this.view[0]) * factor, at + (this.view[1] - at) * factor);
  }

  all() { this.show(...this.span); }

  redraw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      for (const row of this.rows) row.plot.setScale("x", { min: this.view[0], max: this.view[1] });
      this.onView(this.view);
    });
  }

  // ---- painting

  paintBands(u, name) {
    const ctx = u.ctx, { left, top, width, height } = u.bbox;
    for (const band of this.bands) {
      if (band.start_s === null || band.end_s === null) continue;
      const from = clip(u.valToPos(band.start_s, "x", true), left, left + width);
      const to = clip(u.valToPos(band.end_s, "x", true), left, left + width);
      const colour = this.colours[band.which];
      const half = height / 2; // standing above, movement below, so that neither hides the other
      if (colour && to > from) { ctx.fillStyle = colour; ctx.fillRect(from, band.which === "standing" ? top : top + half, to - from, half); }
      ctx.fillStyle = this.colours.edge;
      const thick = (band.which === "analysed" ? 3 : 1) * devicePixelRatio;
      for (const x of [from, to]) if (x > left && x < left + width) ctx.fillRect(x - thick / 2, top, thick, height);
      if (this.first === name && to - from > 12 * devicePixelRatio && this.colours[band.which]) {
        ctx.font = `${12 * devicePixelRatio}px sans-serif`;
        ctx.textBaseline = "top";
        ctx.textAlign = "left";
        ctx.fillText(t(`letter_${band.which}`), from + 4, band.which === "standing" ? top + 3 : top + half + 3);
      }
    }
  }

  paint(u, row) {
    const ctx = u.ctx, { left, top, width, height } = u.bbox;
    const scale = 1 + row.clock.drift_ppm * 1e-6, lag = row.clock.lag_s;
    const own = (time) => (time - lag) / scale;
    const { runs } = row.trace.runs(own(this.view[0]), own(this.view[1]), width);
    const perSecond = width / (this.view[1] - this.view[0]), foot = top + height;
    const [low, high] = row.range || this.range, perUnit = height / (high - low);
    const y = (v) => top + (high - v) * perUnit;
    ctx.save();
    ctx.beginPath(); ctx.rect(left, top, width, height); ctx.clip();
    ctx.fillStyle = ctx.strokeStyle = this.colours[row.name] || this.colours.difference;
    const marks = [];
    for (const run of runs) {
      const step = row.trace.factor ** run.level / row.trace.rate_hz;
      const begin = row.trace.start_s + (run.index * row.trace.buckets + (run.begin || 0)) * step;
      const x0 = left + (begin * scale + lag - this.view[0]) * perSecond, dx = step * scale * perSecond;
      const first = Math.max(Math.floor((left - x0) / dx) - 2, 0);
      const last = Math.min(Math.ceil((left + width - x0) / dx) + 2, run.least.length);
      if (run.level === 0 && dx > 0.7) line(ctx, run, x0, dx, first, last, y);
      else columns(ctx, run, x0, dx, first, last, y);
      for (let i = first; i < last; i++) if (run.gap[i] > 0) marks.push([x0 + i * dx, dx]);
    }
    ctx.fillStyle = this.colours.gap;
    const size = FOOT * devicePixelRatio, least = 2 * devicePixelRatio;
    for (const [x, dx] of marks) ctx.fillRect(Math.floor(x), foot - size, Math.max(dx, least), size);
    ctx.restore();
  }

  // ---- the mouse, a pen or a finger

  listen(row) {
    const over = row.plot.over;
    over.addEventListener("wheel", (event) => {
      event.preventDefault();
      const at = row.plot.posToVal(event.offsetX, "x");
      if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) this.pan(Math.sign(event.deltaX || event.deltaY) * 0.1);
      else this.zoom(event.deltaY > 0 ? 1.25 : 0.8, at);
    }, { passive: false });
    over.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      over.setPointerCapture(event.pointerId);
      this.drag(row, over, event);
    });
    over.addEventListener("pointermove", (event) => {
      if (!event.buttons) over.classList.toggle("on-edge", row.name === this.first && this.edgeAt(row, event.offsetX) !== null);
    });
  }

  edgeAt(row, x) {
    let best = null, near = EDGE;
    for (const band of this.bands) for (const side of ["start_s", "end_s"]) {
      if (band[side] === null) continue;
      const away = Math.abs(row.plot.valToPos(band[side], "x") - x);
      if (away < near) { near = away; best = [band, side]; }
    }
    return best;
  }

  // The band that a point of the uppermost row lies in: standing above, movement below, else the stretch.
  bandAt(row, event) {
    const time = row.plot.posToVal(event.offsetX, "x"), above = event.offsetY < row.plot.over.clientHeight / 2;
    const here = this.bands.filter((one) => one.start_s !== null && one.end_s !== null && one.start_s <= time && time <= one.end_s);
    return here.find((one) => one.which === (above ? "standing" : "functional")) || here.find((one) => one.which === "analysed") || null;
  }

  drag(row, over, down) {
    const perPixel = (this.view[1] - this.view[0]) / over.clientWidth;
    const edge = row.name === this.first ? this.edgeAt(row, down.offsetX) : null;
    const view = [...this.view], lag = this.row("reference")?.clock.lag_s;
    const shifts = !edge && this.moves === "reference" && row.name === "reference";
    const band = !edge && this.moves === "band" && row.name === this.first ? this.bandAt(row, down) : null;
    const ends = band && [band.start_s, band.end_s];
    let moved = false;
    const move = (event) => {
      const by = (event.clientX - down.clientX) * perPixel;
      moved ||= Math.abs(event.clientX - down.clientX) > 3;
      if (band) { if (moved) this.onBand(band, "both", [ends[0] + by, ends[1] + by], false); }
      else if (edge) this.onBand(edge[0], edge[1], row.plot.posToVal(event.clientX - over.getBoundingClientRect().left, "x"), false);
      else if (shifts) this.onLag(lag + by, false);
      else this.show(view[0] - by, view[1] - by);
    };
    const up = (event) => {
      over.removeEventListener("pointermove", move);
      if (!moved && !edge && event.type === "pointerup") { this.onPick(row.plot.posToVal(down.offsetX, "x")); return; }
      if (band) { if (moved) { const by = (event.clientX - down.clientX) * perPixel; this.onBand(band, "both", [ends[0] + by, ends[1] + by], true); } }
      else if (edge) this.onBand(edge[0], edge[1], row.plot.posToVal(event.clientX - over.getBoundingClientRect().left, "x"), true);
      if (shifts) this.onLag(lag + (event.clientX - down.clientX) * perPixel, true);
    };
    over.addEventListener("pointermove", move);
    over.addEventListener("pointerup", up, { once: true });
    over.addEventListener("pointercancel", up, { once: true });
  }

  describe() {
    for (const row of this.rows) {
      const scale = 1 + row.clock.drift_ppm * 1e-6;
      const own = this.view.map((time) => (time - row.clock.lag_s) / scale);
      const seen = row.trace.extremes(own[0], own[1], 300) || [NaN, NaN];
      row.place.setAttribute("aria-label", t("row_alt", {
        name: t(`row_${row.name}`), from: num(this.view[0], 1), to: num(this.view[1], 1),
        low: num(seen[0], 1), high: num(seen[1], 1), missing: row.trace.missing,
      }));
    }
  }

  end() { this.observer.disconnect(); for (const row of this.rows) row.plot.destroy(); }
}

function line(ctx, run, x0, dx, first, last, y) {
  ctx.lineWidth = devicePixelRatio;
  ctx.beginPath();
  let pen = false;
  for (let i = first; i < last; i++) {
    const v = run.least[i];
    if (v !== v) { pen = false; continue; }
    const x = x0 + i * dx;
    if (pen) ctx.lineTo(x, y(v)); else { ctx.moveTo(x, y(v)); ctx.lineTo(x + 0.5, y(v)); }
    pen = true;
  }
  ctx.stroke();
}

function columns(ctx, run, x0, dx, first, last, y) {
  let column = -1, low = Infinity, high = -Infinity, before = null;
  const put = () => {
    if (!(low <= high)) { before = null; return; }
    let from = low, to = high; // reach to the column before, so that the trace hangs together
    if (before && before[0] > high) to = before[0];
    if (before && before[1] < low) from = before[1];
    const top = Math.round(y(to)); // whole pixels are painted much faster
    ctx.fillRect(column, top, 1, Math.max(Math.round(y(from)) - top, Math.ceil(devicePixelRatio)));
    before = [low, high];
  };
  for (let i = first; i < last; i++) {
    const x = Math.round(x0 + i * dx);
    if (x !== column) { put(); column = x; low = Infinity; high = -Infinity; }
    if (run.gap[i] === 1) continue;
    if (run.least[i] < low) low = run.least[i];
    if (run.largest[i] > high) high = run.largest[i];
  }
  put();
}

function clip(v, low, high) { return Math.min(Math.max(v, low), high); }

// The last width found, tried first: asking for it makes the browser lay the page out.
let measured = { inner: -1, wide: 0 };
let colours = null; // asked of the style sheet once: it makes the browser lay the page out
matchMedia("(forced-colors: active)").addEventListener("change", () => { colours = null; });

function coloursOf(host) {
  if (colours) return colours;
  const probe = document.createElement("span");
  host.append(probe);
  const found = {};
  for (const [name, variable] of Object.entries({
    wearable: "--wearable", reference: "--reference", difference: "--difference", gap: "--gap",
    standing: "--band-standing", functional: "--band-functional", edge: "--edge", ink: "--ink",
  })) {
    probe.setAttribute("class", "");
    found[name] = resolved(probe, variable);
  }
  probe.remove();
  colours = found;
  return found;
}

function resolved(probe, variable) {
  probe.style.color = `var(${variable})`;
  return getComputedStyle(probe).color;
}
