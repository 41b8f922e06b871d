// The page: which view is shown, what is known of the study, and what others have changed.
import { get, post } from "./api.js";
import { loadTexts, t } from "./words.js";
import { showList, beginList, chosen } from "./list.js";
import { RecordingView } from "./recording.js";
import { closePending } from "./pending.js";
import { goAhead, stopAhead } from "./ahead.js";

export const state = { study: null, who: "", said: "" };
const $ = (id) => document.getElementById(id);
let open = null; // the recording that is shown
let ended = false;

// For measuring how quickly rows are drawn (benchmarks/review_page.py).
window.twinangleRows = () => open?.rows;

export function say(text) { $("said").textContent = text; }

export async function refresh() {
  state.study = await get("api/study");
  showHeader();
  showList(state.study);
  if (open) await open.update();
  goAhead();
}

function showHeader() {
  const { title, recordings, ready, blind } = state.study;
  document.title = t("page_title", { title });
  $("title").textContent = title;
  const looked = recordings.filter((_, number) => isLooked(number)).length;
  $("progress").textContent = t("progress", { looked, total: recordings.length }) +
    (ready < recordings.length ? t("analysing", { ready, total: recordings.length }) : "");
  $("blind").hidden = !blind;
  if (blind) $("blind").textContent = t("blind");
  $("show").textContent = t(blind ? "show_comparison" : "hide_comparison");
}

// The decisions that stand on a recording, as far as they are about the instruments it is looked at with.
export function standing(number) {
  return state.study.decisions.filter((one) => one.kind !== "blind" && one.stands && one.units.includes(number));
}

export function isLooked(number) {
  return standing(number).some((one) => one.kind !== "undo");
}

async function route() {
  const found = /^#r(\d+)$/.exec(location.hash);
  const number = found ? Number(found[1]) : -1;
  closePending();
  if (open) { open.end(); open = null; }
  const here = state.study.recordings[number];
  if (here) chosen(here);
  $("list-view").hidden = Boolean(here);
  $("recording-view").hidden = !here;
  if (!here) { showList(state.study); return; }
  open = new RecordingView($("recording-view"), number);
  await open.begin();
}

function go() {
  say(""); // what was saved is told of the recording it was saved for
  route().then(() => $("main").focus({ preventScroll: true }));
  window.scrollTo(0, 0);
}

async function poll() {
  if (ended) return;
  try {
    const { version } = await get("api/state");
    if (version !== state.study.version) await refresh();
  } catch (error) {
    if (ended) return;
    if (error instanceof TypeError) say(t("gone"));
  }
  setTimeout(poll, 1500);
}

async function begin() {
  await loadTexts();
  state.study = await get("api/study");
  state.who = $("who").value = state.study.who;
  $("who").addEventListener("input", () => { state.who = $("who").value.trim(); });
  $("skip").addEventListener("click", (event) => { event.preventDefault(); $("main").focus(); });
  $("stop").addEventListener("click", async () => {
    ended = true;  // before the answer, which may come when nothing answers any more
    await post("api/stop", {});
    say(t("stopped"));
    for (const one of document.querySelectorAll("button, input, select")) one.disabled = true;
  });
  $("show").addEventListener("click", async () => {
    await stopAhead(); // the page is loaded anew
    try { await post("api/blind", { who: state.who, on: !state.study.blind }); location.reload(); } catch (error) { say(t("failed", { why: error.message })); }
  });
  beginList();
  showHeader();
  window.addEventListener("hashchange", go);
  // A browser takes its time to follow a link within a page; this takes none.
  document.addEventListener("click", (event) => {
    const to = event.target.closest?.("a")?.getAttribute("href");
    if (!/^#(r\d+)?$/.test(to ?? "") || event.target.id === "skip" || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    history.pushState(null, "", to);
    go();
  });
  await route();
  poll();
  goAhead();
}

begin();
