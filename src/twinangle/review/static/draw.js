// Small helpers for elements and SVG; attributes only, as the page's policy allows no inline style.
const SVG = "http://www.w3.org/2000/svg";

export function el(name, attributes = {}, ...inside) {
  return filled(document.createElement(name), attributes, inside);
}

export function svg(name, attributes = {}, ...inside) {
  return filled(document.createElementNS(SVG, name), attributes, inside);
}

function filled(made, attributes, inside) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...inside.filter((one) => one !== null && one !== undefined));
  return made;
}

export function range(curves) {
  let low = Infinity, high = -Infinity;
  for (const curve of curves) for (const v of curve) {
    if (Number.isFinite(v)) { if (v < low) low = v; if (v > high) high = v; }
  }
  return low <= high ? [low, high] : [0, 1];
}

export class Frame {
  // The plane of a small plot: data to units of the SVG.
  constructor({ width, height, x, y, left = 34, bottom = 30, top = 20, right = 12 }) {
    Object.assign(this, { width, height, x, y, left, bottom, top, right });
    if (y[0] === y[1]) this.y = [y[0] - 1, y[1] + 1];
  }
  px(v) { return this.left + (v - this.x[0]) / (this.x[1] - this.x[0]) * (this.width - this.left - this.right); }
  py(v) { return this.height - this.bottom - (v - this.y[0]) / (this.y[1] - this.y[0]) * (this.height - this.bottom - this.top); }
  vx(p) { return this.x[0] + (p - this.left) / (this.width - this.left - this.right) * (this.x[1] - this.x[0]); }
  vy(p) { return this.y[0] + (this.height - this.bottom - p) / (this.height - this.bottom - this.top) * (this.y[1] - this.y[0]); }
  path(xs, ys) {
    let text = "", pen = "M";
    for (let i = 0; i < ys.length; i++) {
      if (!Number.isFinite(ys[i])) { pen = "M"; continue; }
      text += `${pen}${this.px(xs[i]).toFixed(1)} ${this.py(ys[i]).toFixed(1)}`;
      pen = "L";
    }
    return text;
  }
  axes(nameX, nameY) {
    const base = this.height - this.bottom, group = svg("g", { "aria-hidden": "true" });
    group.append(svg("path", { class: "axis", d: `M${this.left} ${this.top}V${base}H${this.width - this.right}` }));
    for (const v of ticks(this.y, 4)) group.append(
      svg("text", { x: this.left - 4, y: this.py(v) + 4, "text-anchor": "end" }, `${v}`.replace("-", "−")));
    for (const v of ticks(this.x, 5)) group.append(
      svg("text", { x: this.px(v), y: base + 13, "text-anchor": "middle" }, `${v}`.replace("-", "−")));
    if (nameX) group.append(svg("text", { x: this.width - this.right, y: base + 26, "text-anchor": "end" }, nameX));
    if (nameY) group.append(svg("text", { x: this.left - 4, y: this.top - 9 }, nameY));
    return group;
  }
}

export function ticks([low, high], about) {
  const rough = (high - low) / about, power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough);
  const found = [];
  for (let v = Math.ceil(low / step) * step; v <= high + step * 1e-6; v += step) found.push(Number(v.toPrecision(6)));
  return found;
}

export const PERCENT = Array.from({ length: 101 }, (_, i) => i);

export function meanFigure(curve, { width = 340, height = 190, axes = true, words, names = ["", ""] }) {
  const spread = (name) => [curve[name].map((v, i) => v - curve[`${name}_sd`][i]), curve[name].map((v, i) => v + curve[`${name}_sd`][i])];
  const which = ["wearable", "reference"].filter((name) => curve[name]);
  const bands = Object.fromEntries(which.map((name) => [name, spread(name)]));
  const frame = new Frame({
    width, height, x: [0, 100], y: range(Object.values(bands).flat()),
    ...(axes ? {} : { left: 2, right: 2, top: 2, bottom: 2 }),
  });
  const made = svg("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": words });
  if (axes) made.append(frame.axes(names[0], names[1]));
  for (const name of which) {
    const [low, high] = bands[name];
    const back = frame.path([...PERCENT].reverse(), [...low].reverse()).replace("M", "L");
    made.append(svg("path", { class: `sd ${name}`, d: frame.path(PERCENT, high) + back + "Z" }));
  }
  for (const name of which) made.append(svg("path", { class: `mean ${name}`, d: frame.path(PERCENT, curve[name]) }));
  return made;
}
