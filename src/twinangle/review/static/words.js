// Every English text of the page is in texts.json; here it gets its numbers.
let texts = {};

export async function loadTexts() {
  texts = await (await fetch("texts.json")).json();
  for (const one of document.querySelectorAll("[data-text]")) one.textContent = t(one.dataset.text);
}

export function t(key, slots = {}) {
  const text = texts[key];
  if (text === undefined) throw new Error(`texts.json has no "${key}"`);
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in slots ? String(slots[name]) : whole));
}

export function has(key) { return texts[key] !== undefined; }

export function num(value, digits = 2) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const text = value.toFixed(digits);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "−");
}

export function choices(key) {
  return t(key).split("|");
}
