// A trace of any length: only the tiles of the scale that the window needs are fetched.
import { binary } from "./api.js";

const kept = new Map(); // address -> tile, or null while it is on its way
const MOST = 800;

export class Trace {
  constructor(info, onReady) {
    Object.assign(this, info);
    this.onReady = onReady;
    this.end_s = this.start_s + (this.size - 1) / this.rate_hz;
  }

  scaleFor(from, to, pixels) {
    const perPixel = (to - from) * this.rate_hz / Math.max(pixels, 1);
    const level = Math.floor(Math.log(Math.max(perPixel, 1)) / Math.log(this.factor));
    return Math.min(Math.max(level, 0), this.scales - 1);
  }

  // The runs of buckets that cover a window, the finest that are here; missing ones are fetched.
  runs(from, to, pixels) {
    const level = this.scaleFor(from, to, pixels);
    const found = [];
    const [first, last] = this.span(level, from, to);
    for (let index = first; index <= last; index++) {
      const tile = this.tile(level, index);
      if (tile) found.push({ ...tile, level, index });
      else found.push(...this.coarser(level, index));
    }
    for (const beside of [first - 1, last + 1]) this.tile(level, beside);
    return { level, runs: found };
  }

  span(level, from, to) {
    const perTile = this.buckets * this.factor ** level, last = Math.ceil(this.size / perTile) - 1;
    const at = (time) => Math.floor((time - this.start_s) * this.rate_hz / perTile);
    return [Math.min(Math.max(at(from), 0), last), Math.min(Math.max(at(to), -1), last)];
  }

  coarser(level, index) {
    for (let up = level + 1; up < this.scales; up++) {
      const parent = Math.floor(index / this.factor ** (up - level));
      const tile = kept.get(this.address(up, parent));
      if (!tile) continue;
      const width = this.buckets / this.factor ** (up - level);
      const begin = (index % this.factor ** (up - level)) * width;
      const cut = (run) => run.subarray(begin, begin + Math.max(width, 1));
      return [{ least: cut(tile.least), largest: cut(tile.largest), gap: cut(tile.gap), level: up, index: parent, begin }];
    }
    return [];
  }

  address(level, index) { return `tile/${this.digest}/${level}/${index}`; }

  tile(level, index) {
    const count = Math.ceil(this.size / this.factor ** level);
    if (index < 0 || index * this.buckets >= count) return null;
    const address = this.address(level, index);
    const found = kept.get(address);
    if (found !== undefined) return found;
    this.fetch(address);
    return null;
  }

  fetch(address) {
    kept.set(address, null);
    while (kept.size > MOST) kept.delete(kept.keys().next().value);
    return binary(address).then((values) => {
      const n = values.length / 3;
      kept.set(address, { least: values.subarray(0, n), largest: values.subarray(n, 2 * n), gap: values.subarray(2 * n) });
      this.onReady();
    }, () => { kept.delete(address); this.onLost?.(); });
  }

  // Fetch what a picture of the whole trace needs.
  async whole(pixels) {
    const level = this.scaleFor(this.start_s, this.end_s, pixels);
    const [first, last] = this.span(level, this.start_s, this.end_s);
    const wanted = [];
    for (let index = first; index <= last; index++) {
      const address = this.address(level, index);
      if (kept.get(address) === undefined) wanted.push(this.fetch(address));
    }
    await Promise.all(wanted);
  }

  extremes(from, to, pixels) {
    let low = Infinity, high = -Infinity;
    for (const run of this.runs(from, to, pixels).runs) {
      const width = this.factor ** run.level / this.rate_hz;
      const begin = this.start_s + (run.index * this.buckets + (run.begin || 0)) * width;
      for (let i = 0; i < run.least.length; i++) {
        const time = begin + i * width;
        if (time < from - width || time > to) continue;
        if (run.least[i] < low) low = run.least[i];
        if (run.largest[i] > high) high = run.largest[i];
      }
    }
    return low <= high ? [low, high] : null;
  }
}
