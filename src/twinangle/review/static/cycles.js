// Cycles over each other, a block at a time; a click or a key takes one in or out, with a reason.
import { el, svg, Frame, range, meanFigure, PERCENT } from "./draw.js";
import { t, num } from "./words.js";
import { binary } from "./api.js";
import { say } from "./main.js";
import { openPending } from "./pending.js";

const WIDTH = 400, HEIGHT = 250, REACH = 14; // of the plot's units: how near a click must be
// Each kind of reason has its own dashes beside its words.
const DASHES = ["6 3", "2 2", "9 3 2 3", "1 3", "12 4", "4 2 1 2", "3 6", "8 2 2 2 2 2"];

export class CyclesPart {
  constructor(view, found, old) {
    Object.assign(this, { view, found, number: view.number });
    const same = old && old.found.reason.length === found.reason.length;
    this.block = same ? old.block : 0;
    this.kind = same ? old.kind : "all";
    this.chosen = same ? old.chosen : -1;
    this.kinds = [...new Set(found.kind.filter(Boolean))];
  }

  build() {
    const { found } = this, total = found.reason.length, kept = found.reason.filter((text) => !text).length;
    this.figures = el("div", { class: "side" });
    this.list = el("ul", { id: "cycle-list", "aria-labelledby": "cycles-name" });
    this.list.addEventListener("keydown", (event) => this.keys(event));
    this.name = el("p", { id: "cycles-name", class: "row-name" });
    const show = this.show = el("select", { id: "cycle-kind", oninput: () => { this.kind = show.value; this.fillList(); this.paint(); } },
      ...["all", "in", "out"].map((one) => el("option", { value: one, selected: one === this.kind }, t(`kind_${one}`))));
    const turn = (by) => () => { this.block += by; this.load(); };
    this.turners = total > found.block ? [["block_earlier", -1], ["block_later", 1]].map(([key, by]) => el("button", { type: "button", onclick: turn(by) }, t(key))) : [];
    this.mean = el("figure", {}, el("figcaption", {}, t("cycles_mean")));
    this.load();
    return el("section", { class: "card", "aria-labelledby": "cycles-head" },
      el("h3", { id: "cycles-head" }, t("cycles_head")),
      el("p", {}, t("cycles_told", { kept, found: total, method: found.method })),
      el("p", { class: "help" }, t("cycles_help")), this.key(), this.figures,
      el("div", { class: "side" },
        el("div", {}, el("div", { class: "tools" }, el("label", {}, el("span", {}, t("show_kind")), show), ...this.turners), this.name, this.list),
        this.mean));
  }

  key() {
    const sample = (dash, cls) => svg("svg", { viewBox: "0 0 34 10", "aria-hidden": "true" }, svg("path", { class: cls, d: "M0 5H34", "stroke-dasharray": dash, fill: "none" }));
    return el("ul", { class: "keyed" }, el("li", {}, sample(null, "curve wearable"), ` ${t("cycle_kept")}`),
      ...this.kinds.map((kind, i) => el("li", {}, sample(DASHES[i % DASHES.length], "out"), ` ${kind}`)));
  }

  showMean(curve) {
    const old = this.mean.querySelector("svg");
    if (old) old.remove();
    if (!curve) return;
    const [low, high] = range([curve.wearable]);
    this.mean.append(meanFigure(curve, {
      width: WIDTH, height: HEIGHT, names: [t("axis_cycle"), t("axis_angle")],
      words: t("mean_curve_alt", {
        low: num(low, 0), high: num(high, 0),
        reference: curve.reference ? t("mean_curve_reference", { low: num(Math.min(...curve.reference), 0), high: num(Math.max(...curve.reference), 0) }) : "",
      }),
    }));
  }

  async load() {
    const { found } = this, first = this.block * found.block;
    this.first = first;
    this.count = Math.min(found.block, found.reason.length - first);
    if (this.turners.length) { this.turners[0].disabled = first === 0; this.turners[1].disabled = first + this.count >= found.reason.length; }
    this.fillList();
    try {
      const values = await binary(`api/curves/${this.number}/${this.block}`);
      const size = this.count * found.points;
      this.curves = { wearable: values.subarray(0, size), reference: values.length > size ? values.subarray(size) : null };
      this.paint();
    } catch (error) { this.figures.textContent = t("failed", { why: error.message }); }
  }

  curve(name, i) {
    const n = this.found.points;
    return this.curves[name].subarray(i * n, (i + 1) * n);
  }

  shows(i) {
    const out = Boolean(this.found.reason[this.first + i]);
    return this.kind === "all" || (this.kind === "out") === out;
  }

  paint() {
    if (!this.curves) return;
    this.plots = ["wearable", "reference"].filter((name) => this.curves[name]).map((name) => this.plot(name));
    this.figures.replaceChildren(...this.plots.map(({ name, made }) => el("figure", {}, el("figcaption", {}, t(`cycles_${name}`)), made)));
    this.mark();
  }

  plot(name) {
    const shown = Array.from({ length: this.count }, (_, i) => i).filter((i) => this.shows(i));
    const [low, high] = range(shown.map((i) => this.curve(name, i)));
    const frame = new Frame({ width: WIDTH, height: HEIGHT, x: [0, 100], y: [low, high] });
    const made = svg("svg", {
      viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "cycles-pick", role: "img",
      "aria-label": t("cycles_alt", { n: shown.length, kept: shown.filter((i) => !this.found.reason[this.first + i]).length, low: num(low, 0), high: num(high, 0) }),
    }, frame.axes(t("axis_cycle"), t("axis_angle")));
    const paths = new Map();
    const kept = shown.filter((i) => !this.found.reason[this.first + i]);
    for (const i of [...kept, ...shown.filter((i) => this.found.reason[this.first + i])]) {
      const kind = this.found.kind[this.first + i];
      const path = svg("path", {
        d: frame.path(PERCENT, this.curve(name, i)), class: kind ? "curve out" : `curve ${name}`,
        "stroke-dasharray": kind ? DASHES[this.kinds.indexOf(kind) % DASHES.length] : null,
      });
      paths.set(i, path);
      made.append(path);
    }
    made.addEventListener("click", (event) => {
      const i = this.nearest(name, frame, made, event, shown);
      if (i >= 0) this.choose(i, true);
    });
    return { name, made, paths };
  }

  // Curves lie over each other, so the nearest is found by arithmetic.
  nearest(name, frame, made, event, shown) {
    const box = made.getBoundingClientRect();
    const x = (event.clientX - box.left) / box.width * WIDTH, y = (event.clientY - box.top) / box.height * HEIGHT;
    const at = Math.round(Math.min(Math.max(frame.vx(x), 0), 100));
    let best = -1, near = REACH;
    for (const i of shown) {
      const away = Math.abs(frame.py(this.curve(name, i)[at]) - y);
      if (away < near || (away === near && this.found.reason[this.first + i])) { near = away; best = i; }
    }
    return best;
  }

  fillList() {
    const { found, first, count } = this;
    this.name.textContent = t("cycles_list", { from: first + 1, to: first + count, total: found.reason.length });
    const items = [];
    for (let i = 0; i < count; i++) {
      if (!this.shows(i)) continue;
      const k = first + i;
      items.push(el("li", {}, el("button", {
        type: "button", "data-cycle": i, tabindex: -1, "aria-pressed": found.reason[k] ? "false" : "true", onclick: () => this.decide(i), onfocus: () => this.choose(i, false),
      }, `${t("cycle_name", { n: k + 1, start: num(found.start_s[k]), duration: num(found.end_s[k] - found.start_s[k]) })}: ${found.reason[k] || t("cycle_kept")}`)));
    }
    this.list.replaceChildren(...items);
    const start = this.button(this.chosen) || this.list.querySelector("button");
    if (start) start.tabIndex = 0;
  }

  button(i) { return this.list.querySelector(`button[data-cycle="${i}"]`); }

  choose(i, decide) {
    this.chosen = i;
    for (const one of this.list.querySelectorAll('[tabindex="0"]')) one.tabIndex = -1;
    const button = this.button(i);
    if (button) { button.tabIndex = 0; if (decide) button.focus(); else button.scrollIntoView({ block: "nearest" }); }
    this.mark();
    if (decide) this.decide(i);
  }

  // The cycle at a time of the traces: marked there and in the list, where Enter decides on it.
  async pick(time) {
    const { found } = this, k = found.start_s.findIndex((start, i) => start <= time && time < found.end_s[i]);
    if (k < 0) { say(t("no_cycle_there", { at: num(time, 1) })); return; }
    const block = Math.floor(k / found.block);
    if (block !== this.block) { this.block = block; await this.load(); }
    if (!this.button(k - this.first)) { this.kind = "all"; this.show.value = "all"; this.fillList(); this.paint(); }
    this.choose(k - this.first, false);
    this.button(k - this.first)?.focus({ preventScroll: true });
    say(t("cycle_there", { n: k + 1, start: num(found.start_s[k]), state: found.reason[k] || t("cycle_kept") }));
  }

  mark() {
    for (const { paths } of this.plots || []) for (const [i, path] of paths) {
      path.classList.toggle("chosen", i === this.chosen);
      if (i === this.chosen) path.parentNode.append(path);
    }
    for (const one of this.list.querySelectorAll("button")) one.toggleAttribute("aria-current", false);
    this.button(this.chosen)?.setAttribute("aria-current", "true");
    const k = this.first + this.chosen;
    this.view.highlight(this.chosen < 0 ? null : [this.found.start_s[k], this.found.end_s[k]]);
  }

  keys(event) {
    const all = [...this.list.querySelectorAll("button")], at = all.indexOf(document.activeElement);
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: all.length - 1, PageDown: at + 10, PageUp: at - 10 }[event.key];
    if (to === undefined || at < 0) return;
    event.preventDefault();
    all[Math.min(Math.max(to, 0), all.length - 1)].focus();
  }

  decide(i) {
    const k = this.first + i, out = Boolean(this.found.reason[k]);
    const slots = { n: k + 1, start: num(this.found.start_s[k]) };
    openPending({
      number: this.number, kind: "cycle", value: { start_s: this.found.start_s[k], use: out },
      what: t(out ? "take_in" : "take_out", slots), reasons: out ? "why_cycle_in" : "why_cycle_out",
    });
  }
}
