"""How quick the review page is, against an empty page in the same browser.

Two questions, each answered as a ratio, in the system's Chromium without a window:

1. `click`: forty recordings of a minute; from the click on a recording to the picture of its
   traces, against a change of text on an empty page to that page's next picture. The list has
   been open for ten seconds, in which the page fetches recordings ahead.
2. `pan`: eight hours at 200 Hz, two traces, panned without a pause; pictures changed a second,
   against an empty page that asks for one picture after the other. Also: whether a gap of one
   sample is seen at every zoom.

    python benchmarks/review_page.py [click] [pan]

The traces are served as the page's server serves them; the recordings are invented and not
analysed, so that what is timed is the page alone.
"""

from __future__ import annotations

import os
import shutil
import statistics
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import uvicorn
from playwright.sync_api import Page, sync_playwright

from twinangle.results import TrialResult
from twinangle.review import session as sessions
from twinangle.review.guard import HOST
from twinangle.review.look import Look
from twinangle.review.server import _listen, build_app
from twinangle.signals.recording import AngleRecording, Synchronisation
from twinangle.study import read_bare_study

FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
TOKEN = "of-the-benchmark"
STUDY = """[study]
title = "Invented"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "t"
angle = "knee"
[reference]
kind = "angle"
time = "t"
angle = "knee"
[synchronisation]
[cycles]
method = "angle-peak"
"""
EMPTY = """<!doctype html><html lang="en"><title>Empty</title><a id="go" href="#1">go</a>
<p id="said">0</p>"""
# Until the picture has been shown: what is there when one frame begins is seen when the next does.
PAINTED = """() => new Promise(done => {
  const begin = performance.now();
  ACT;
  const look = () => { if (READY) requestAnimationFrame(() => done(performance.now() - begin));
    else requestAnimationFrame(look); };
  requestAnimationFrame(look); })"""
PICTURES = """seconds => new Promise(done => {
  let n = 0; const begin = performance.now();
  const next = () => { n += 1; STEP;
    if (performance.now() - begin < seconds * 1000) requestAnimationFrame(next);
    else done(n * 1000 / (performance.now() - begin)); };
  requestAnimationFrame(next); })"""


class Shown(sessions.Session):
    """A session whose recordings are there already."""

    def __init__(self, folder: Path, *, number: int, seconds: float, rate_hz: float) -> None:
        rows = [f"P{k:02d},w.csv,r.csv" for k in range(number)]
        (folder / "trials.csv").write_text("\n".join(["participant,wearable,reference", *rows, ""]))
        (folder / "study.toml").write_text(STUDY)
        for role in "wr":
            (folder / f"{role}.csv").write_text("t,knee\n0,0\n")
        super().__init__(read_bare_study(folder / "study.toml"), who="R1", blind=False)
        self._made = (seconds, rate_hz)
        self._looks = {k: self._invented(k, 1.0) for k in range(number)}

    def _invented(self, number: int, seconds: float) -> Look:
        rng = np.random.default_rng(number)
        rate_hz = self._made[1]
        time_s = np.arange(int(seconds * rate_hz)) / rate_hz
        true = 30 + 30 * np.sin(2 * np.pi * 0.9 * time_s)
        wearable, reference = (true + rng.normal(0, 1, true.size) for _ in range(2))
        wearable[true.size // 3] = np.nan
        trial = self.study.trials[number]
        return Look(
            (TrialResult(*trial.identity, procedure="as recorded", status="ok"),),
            AngleRecording(wearable, 0.0, rate_hz, "wearable"),
            AngleRecording(reference, 0.0, rate_hz, "reference"),
            Synchronisation(method="manual", lag_s=0.0, lag_se_s=0.01, drift_ppm=0.0),
            "found",
            seconds=self._made[0],
        )

    def _look(self, number: int) -> Look | None:
        if number not in self._open:
            self._open[number] = self._invented(number, self._made[0])
        return self._open[number]


@contextmanager
def served(**what: Any) -> Iterator[str]:
    """Serve invented recordings, and yield the page's address."""
    with TemporaryDirectory() as folder:
        session = Shown(Path(folder), **what)
        listening = _listen(0)
        port = listening.getsockname()[1]
        app = build_app(session, token=TOKEN, port=port, stop=lambda: None)
        server = uvicorn.Server(uvicorn.Config(app, log_config=None, lifespan="off", ws="none"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        yield f"http://{HOST}:{port}/{TOKEN}/"
        server.should_exit = True
        thread.join(5)
        session.end()


def timed(page: Page, act: str, ready: str) -> float:
    return float(page.evaluate(PAINTED.replace("ACT", act).replace("READY", ready)))


def click(page: Page) -> None:
    """From the click to the picture: forty recordings of a minute."""
    empty = _empty(page)
    drawn = """(() => { const c = document.querySelector('.row-reference canvas');
      if (!c) return false;
      const d = c.getContext('2d').getImageData(c.width / 2, 0, 9, c.height).data;
      for (let i = 0; i < d.length; i += 4)
        if (d[i + 3] > 200 && Math.abs(d[i] - d[i + 2]) > 60) return true;
      return false; })()"""
    with served(number=40, seconds=60.0, rate_hz=200.0) as address:
        page.goto(address)
        page.wait_for_selector('#list a[href="#r39"]')
        page.wait_for_timeout(10_000)  # the list is read meanwhile, and recordings are fetched
        found = []
        for k in range(40):
            act = f"document.querySelector('#list a[href=\"#r{k}\"]').click()"
            found.append(timed(page, act, drawn))
            page.evaluate("location.hash = '#'")
            page.wait_for_selector("#list-view:not([hidden])")
            page.wait_for_timeout(300)  # nobody clicks sooner
    empty += _empty(page)  # before and after: the machine may do other things
    ours, base = statistics.median(found), statistics.median(empty)
    worst = sorted(found)[35]
    print(
        f"click to picture: {ours:.0f} ms (9 of 10 within {worst:.0f}), empty page {base:.0f} ms: "
        f"{ours / base:.2f} times; load average {os.getloadavg()[0]:.1f}"
    )


def _empty(page: Page) -> list[float]:
    page.set_content(EMPTY)
    act = "document.getElementById('said').textContent = '{}'"
    return [timed(page, act.format(k), "true") for k in range(40)]


def pan(page: Page) -> None:
    """Pictures a second while panning over eight hours, and gaps of one sample."""
    page.set_content(EMPTY)
    step = "document.getElementById('said').textContent = n"
    base = float(page.evaluate(PICTURES.replace("STEP", step), 3))
    with served(number=1, seconds=8 * 3600.0, rate_hz=200.0) as address:
        begin = time.perf_counter()
        page.goto(address + "#r0")
        page.wait_for_selector(".row-difference canvas", timeout=120_000)
        print(f"eight hours opened in {time.perf_counter() - begin:.1f} s")
        for name, wide in (("10 s", 10), ("2 min", 120), ("1 h", 3600), ("8 h", 8 * 3600)):
            at = 8 * 3600 / 3
            ends = [at - wide / 2, at + wide / 2]
            page.evaluate("([a, b]) => window.twinangleRows().show(a, b)", ends)
            page.wait_for_timeout(1500)
            seen = page.evaluate(GAP_SEEN)
            step = "window.twinangleRows().pan(0.004 * (n % 200 < 100 ? 1 : -1))"
            rate = float(page.evaluate(PICTURES.replace("STEP", step), 4))
            print(
                f"panning, window of {name}: {rate:.0f} pictures a second, empty page {base:.0f}: "
                f"{rate / base:.2f}; a gap of one sample is {'seen' if seen else 'NOT SEEN'}"
            )


GAP_SEEN = """() => { const c = document.querySelector('.row-wearable canvas');
  const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
  for (let i = 0; i < d.length; i += 4)
    if (d[i] === 0x8a && d[i + 1] === 0x0e && d[i + 2] === 0x6b) return true;
  return false; }"""


def main() -> None:
    asked = sys.argv[1:] or ["click", "pan"]
    path = shutil.which("chromium")
    if path is None:
        raise SystemExit("no `chromium` on the path: install Debian's package")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        for name in asked:
            {"click": click, "pan": pan}[name](page)
        browser.close()


if __name__ == "__main__":
    main()
