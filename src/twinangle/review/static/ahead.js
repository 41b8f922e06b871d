// Recordings fetched before they are asked for, so that a click shows a picture at once.
import { get } from "./api.js";
import { state } from "./main.js";
import { ordered } from "./list.js";
import { Trace } from "./tiles.js";

const LONGEST_S = 900; // longer ones are fetched when they are opened
const MOST = 80;
const kept = new Map(); // number -> { key, found }
let running = false, stopped = false;

export function keyOf(number) {
  const row = state.study.recordings[number];
  const decided = state.study.decisions.filter((one) => one.units.includes(number) && one.kind !== "looked").length;
  return JSON.stringify([{ ...row, again: null }, decided, state.study.blind]);
}

// What is known of a recording now, or null.
export function known(number) {
  const one = kept.get(number);
  return one && one.key === keyOf(number) ? one.found : null;
}

export async function fetched(number) {
  const key = keyOf(number), found = await get(`api/recording/${number}`);
  if (!found.waiting) kept.set(number, { key, found });
  while (kept.size > MOST) kept.delete(kept.keys().next().value);
  return found;
}

export function forget(number) { kept.delete(number); }

export async function goAhead() {
  if (running || stopped) return;
  running = true;
  try {
    for (const row of ordered(state.study).slice(0, MOST)) {
      if (stopped) break;
      if (row.state === "waiting" || row.again || !(row.seconds < LONGEST_S) || known(row.number)) continue;
      const { traces } = await fetched(row.number);
      for (const info of Object.values(traces || {})) {
        if (!info) continue;
        const trace = new Trace(info, () => {});
        await trace.whole(document.documentElement.clientWidth * devicePixelRatio);
      }
      await new Promise((done) => setTimeout(done, 0));
    }
  } catch { /* the recording is fetched when it is opened */ }
  running = false;
}

// Fetch nothing more ahead, as where what was fetched is about to be forgotten.
export async function stopAhead() {
  stopped = true;
  while (running) await new Promise((done) => setTimeout(done, 20));
}
