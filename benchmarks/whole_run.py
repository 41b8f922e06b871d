"""Wall time and peak memory of `twinangle run` against the straight-line script, side by side.

    python benchmarks/whole_run.py                # eight one-minute trials
    python benchmarks/whole_run.py --trials 40
    python benchmarks/whole_run.py --trials 40 --documents report      # like for like, see below
    python benchmarks/whole_run.py --growth       # memory against the number and length of trials

Writes an invented study (two sensors at 100 Hz, reference at 1000 Hz, one trial a participant),
then runs ``straight_line.py`` and ``twinangle run --jobs 2`` in turn, `--repeats` times, and prints
both and the ratios of the medians of wall and of processor time. Compilation is cached by a run on
a small study before the clock starts. Nothing is kept from one run to the next; what keeping costs
and saves is measured by ``kept.py``.

The script makes the numbers, three figures a recording and a pooled table. `--documents` says how
much of a run is held against that: "report" (numbers, tables, and `report.pdf` with its figures
over all recordings), "recordings" (besides, three figures of each recording, in `supplement.pdf`),
or "all", which adds the page, and an article's figures, tables and texts.

Memory is the largest resident set of any single process of a run, from the operating system. Two
figures of the libraries' own stand beside it: that of a process that only imports what the run
imports (numba with `--procedures` that need it; neither statsmodels nor pingouin, which it does
not), and that of one that has also used each library once on next to nothing (one small table
read, one second filtered, one empty figure saved, one empty page typeset). The second is what one
process needs for all of it before it holds data; a run typesets in a process of its own, so that
its largest may stay below that. `--growth` measures what data add: the peak
with one trial, with `--trials`, and with one trial ten times as long, against a trial's arrays.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from twinangle.simulate import write_demo_study

HERE = Path(__file__).resolve().parent
LIBRARIES = (
    "import numpy, scipy.signal, scipy.optimize, scipy.interpolate, scipy.stats, pandas, "
    "pyarrow.csv, vqf, matplotlib.figure, matplotlib.backends.backend_agg, "
    "matplotlib.backends.backend_pdf, typst, pydantic, typer, rich.progress"
)
DOCUMENTS: dict[str, list[str] | None] = {
    "report": [],
    "recordings": ["supplement.pdf"],
    "all": None,
}
COMPILED = ", numba"  # where a procedure is other than the library's filter
USED_ONCE = """
import io
import numpy as np
from pyarrow import csv
from scipy import interpolate, optimize, signal, stats
csv.read_csv(io.BytesIO(b"a,b\\n1,2\\n3,4\\n")).to_pandas().groupby("a").mean()
still = np.zeros((100, 3))
vqf.offlineVQF(still, still + 9.81, still + 40.0, 0.01)
signal.sosfiltfilt(signal.butter(2, 10.0, fs=100.0, output="sos"), still, axis=0)
interpolate.CubicSpline(np.arange(9.0), np.arange(9.0) ** 2)(0.5)
optimize.least_squares(lambda x: x - 1.0, [0.0])
stats.theilslopes(np.arange(9.0))
figure = matplotlib.figure.Figure()
figure.add_axes((0.1, 0.1, 0.8, 0.8)).set_title("0")
figure.savefig(io.BytesIO(), format="pdf")
typst.Compiler(b"empty").compile(format="pdf")
"""


@dataclass(frozen=True)
class Measured:
    """One run of a command: wall time, processor time, largest resident set of a process."""

    wall_s: float
    cpu_s: float
    peak_mb: float


# Runs a command and prints its usage. A process of its own, and a small one: a child's largest
# resident set starts at that of the process it was forked from.
WATCH = """
import os, subprocess, sys, time
start = time.perf_counter()
with open(sys.argv[1], "wb") as said:
    child = subprocess.Popen(sys.argv[2:], stdout=said, stderr=subprocess.STDOUT)
    _, status, usage = os.wait4(child.pid, 0)
child.returncode = os.waitstatus_to_exitcode(status)
wall_s = time.perf_counter() - start
print(child.returncode, wall_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024.0)
"""


def measure(command: list[str]) -> Measured:
    """Run a command to its end; refuse a failed one."""
    with tempfile.NamedTemporaryFile() as said:
        watched = [sys.executable, "-S", "-c", WATCH, said.name, *command]
        text = subprocess.run(watched, check=True, capture_output=True, text=True).stdout
        returned, wall_s, cpu_s, peak_mb = map(float, text.split())
        if returned != 0:
            sys.exit(f"{' '.join(command)}\n{said.read().decode()}")
    return Measured(wall_s, cpu_s, peak_mb)


def make_study(
    folder: Path, trials: int, procedures: str, walk_s: float, documents: str = "all"
) -> Path:
    path = write_demo_study(
        folder,
        participants=trials,
        conditions=("indoor",),
        walk_s=walk_s,
        reference_rate_hz=1000.0,
    )
    text = path.read_text(encoding="utf-8")
    wanted = ", ".join(f'"{name}"' for name in procedures.split(","))
    found = 'procedures = ["kalman-two-sensors", "kalman-forward"]'
    if found not in text:
        sys.exit(f"{path} does not hold the line {found!r}")
    text = text.replace(found, f"procedures = [{wanted}]")
    if (asked := DOCUMENTS[documents]) is not None:
        text += f"\n[report]\ndocuments = {json.dumps(asked)}\n"
    path.write_text(text, encoding="utf-8")
    return path


def twinangle(study: Path, out: Path, jobs: int) -> list[str]:
    tool = str(Path(sys.executable).with_name("twinangle"))
    return [tool, "run", str(study), "--out", str(out), "--jobs", str(jobs)]


def main() -> None:
    parser = argparse.ArgumentParser(description="Time a whole run against a plain script.")
    parser.add_argument("--trials", type=int, default=8)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--procedures", default="vqf", help="as the script: vqf; or kalman,vqf")
    parser.add_argument("--walk", type=float, default=33.0, help="seconds; a trial is 27 s longer")
    parser.add_argument("--documents", choices=DOCUMENTS, default="all", help="what a run makes")
    parser.add_argument("--growth", action="store_true", help="memory alone, by size of the study")
    options = parser.parse_args()
    os.environ["TWINANGLE_KEPT"] = ""
    if options.growth:
        growth(options)
        return
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        study = make_study(
            place / "study", options.trials, options.procedures, options.walk, options.documents
        )
        warm = make_study(place / "warm", 1, options.procedures, options.walk)
        measure(twinangle(warm, place / "warm-out", 1))
        script = [sys.executable, str(HERE / "straight_line.py"), str(study.parent)]
        plain, ours = [], []
        for k in range(options.repeats):
            plain.append(measure([*script, str(place / f"plain{k}")]))
            ours.append(measure(twinangle(study, place / f"ours{k}", options.jobs)))
    report(options, plain, ours)
    report_memory(options, max(run.peak_mb for run in ours))


def growth(options: argparse.Namespace) -> None:
    """Print the peak for one trial, for many, and for one ten times as long."""
    once_mb = largest_trial_mb(options.walk)
    long_s = 10 * (options.walk + 27.0) - 27.0
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        peaks = []
        for name, trials, walk_s in (
            ("one", 1, options.walk),
            ("many", options.trials, options.walk),
            ("long", 1, long_s),
        ):
            study = make_study(place / name, trials, options.procedures, walk_s)
            peaks.append(measure(twinangle(study, place / f"{name}-out", options.jobs)).peak_mb)
    one, many, long = peaks
    longer_mb = largest_trial_mb(long_s) - once_mb
    print(f"one trial of {options.walk + 27:g} s ({once_mb:.1f} MB of arrays): peak {one:.0f} MB")
    print(f"{options.trials} such trials: peak {many:.0f} MB, {many - one:.0f} MB more")
    print(
        f"one trial of {long_s + 27:g} s ({once_mb + longer_mb:.1f} MB): peak {long:.0f} MB, "
        f"{long - one:.0f} MB more for {longer_mb:.1f} MB more of arrays, "
        f"{(long - one) / longer_mb:.1f} times"
    )
    report_memory(options, many)


def largest_trial_mb(walk_s: float) -> float:
    """Return the size of one trial's columns as float64, in MB."""
    seconds = walk_s + 27.0
    return seconds * (100.0 * 19 + 1000.0 * 2) * 8 / 2**20


def report(
    options: argparse.Namespace,
    plain: list[Measured],
    ours: list[Measured],
) -> None:
    print(
        f"{options.trials} trials of {options.walk + 27:g} s, procedures {options.procedures}, "
        f"documents {options.documents}, {options.repeats} runs each, {os.cpu_count()} processors"
    )
    medians, processor = [], []
    for name, runs in (
        ("straight-line script", plain),
        (f"twinangle run --jobs {options.jobs}", ours),
    ):
        wall = [run.wall_s for run in runs]
        peak = max(run.peak_mb for run in runs)
        medians.append(statistics.median(wall))
        each = ", ".join(f"{value:.1f}" for value in wall)
        processor.append(statistics.median(run.cpu_s for run in runs))
        print(
            f"{name:26} {medians[-1]:6.1f} s  (each: {each})  processor {processor[-1]:.1f} s  "
            f"peak {peak:.0f} MB"
        )
    print(f"wall-time ratio            {medians[1] / medians[0]:6.2f}")
    print(f"processor-time ratio       {processor[1] / processor[0]:6.2f}")


def report_memory(options: argparse.Namespace, peak_mb: float) -> None:
    """Print the peak above the libraries' own, imported and used once."""
    arrays_mb = largest_trial_mb(options.walk)
    compiled = any(not name.startswith("vqf") for name in options.procedures.split(","))
    imports = LIBRARIES + (COMPILED if compiled else "")
    for name, code in (("imported", imports), ("used once", imports + USED_ONCE)):
        own_mb = measure([sys.executable, "-c", code]).peak_mb
        over_mb = peak_mb - own_mb
        print(
            f"libraries {name}: {own_mb:.0f} MB; twinangle above it: {over_mb:.0f} MB, "
            f"{over_mb / arrays_mb:.1f} times one trial's {arrays_mb:.1f} MB"
        )


if __name__ == "__main__":
    main()
