"""Wall time and peak memory of `twinangle run` against the straight-line script, side by side.

    python benchmarks/whole_run.py                # eight one-minute trials
    python benchmarks/whole_run.py --trials 40

Writes an invented study (two sensors at 100 Hz, reference at 1000 Hz, one trial a participant),
then runs ``straight_line.py`` and ``twinangle run --jobs 2`` in turn, `--repeats` times, and prints
both and the ratio of the medians. Compilation is cached by a run on a small study before the clock
starts. Memory is the largest resident set of any single process of a run, from the operating
system; the libraries' own is that of a process that only imports them.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from twinangle.simulate import write_demo_study

HERE = Path(__file__).resolve().parent
LIBRARIES = (
    "import numpy, scipy.signal, scipy.optimize, scipy.stats, pandas, pyarrow, numba, vqf, "
    "statsmodels.api, pingouin, matplotlib.pyplot, matplotlib.backends.backend_pdf, typst, "
    "pydantic, typer, rich"
)


@dataclass(frozen=True)
class Measured:
    """One run of a command: wall time, processor time, largest resident set of a process."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def measure(command: list[str]) -> Measured:
    """Run a command to its end; refuse a failed one."""
    start = time.perf_counter()
    with tempfile.TemporaryFile() as said:
        child = subprocess.Popen(command, stdout=said, stderr=subprocess.STDOUT)
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        wall_s = time.perf_counter() - start
        if child.returncode != 0:
            said.seek(0)
            sys.exit(f"{' '.join(command)}\n{said.read().decode()}")
    return Measured(wall_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024.0)


def make_study(folder: Path, trials: int, procedures: str, walk_s: float) -> Path:
    path = write_demo_study(
        folder,
        participants=trials,
        conditions=("indoor",),
        walk_s=walk_s,
        reference_rate_hz=1000.0,
    )
    text = path.read_text(encoding="utf-8")
    wanted = ", ".join(f'"{name}"' for name in procedures.split(","))
    found = 'procedures = ["kalman", "vqf"]'
    if found not in text:
        sys.exit(f"{path} does not hold the line {found!r}")
    path.write_text(text.replace(found, f"procedures = [{wanted}]"), encoding="utf-8")
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
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        study = make_study(place / "study", options.trials, options.procedures, options.walk)
        warm = make_study(place / "warm", 1, options.procedures, options.walk)
        measure(twinangle(warm, place / "warm-out", 1))
        script = [sys.executable, str(HERE / "straight_line.py"), str(study.parent)]
        plain, ours = [], []
        for k in range(options.repeats):
            plain.append(measure([*script, str(place / f"plain{k}")]))
            ours.append(measure(twinangle(study, place / f"ours{k}", options.jobs)))
        libraries = measure([sys.executable, "-c", LIBRARIES])
        arrays_mb = largest_trial_mb(options.walk)
    report(options, plain, ours, libraries, arrays_mb)


def largest_trial_mb(walk_s: float) -> float:
    """Return the size of one trial's columns as float64, in MB."""
    seconds = walk_s + 27.0
    return seconds * (100.0 * 19 + 1000.0 * 2) * 8 / 2**20


def report(
    options: argparse.Namespace,
    plain: list[Measured],
    ours: list[Measured],
    libraries: Measured,
    arrays_mb: float,
) -> None:
    print(
        f"{options.trials} trials of {options.walk + 27:g} s, procedures {options.procedures}, "
        f"{options.repeats} runs each, {os.cpu_count()} processors"
    )
    medians = []
    for name, runs in (
        ("straight-line script", plain),
        (f"twinangle run --jobs {options.jobs}", ours),
    ):
        wall = [run.wall_s for run in runs]
        peak = max(run.peak_mb for run in runs)
        medians.append(statistics.median(wall))
        each = ", ".join(f"{value:.1f}" for value in wall)
        cpu = statistics.median(run.cpu_s for run in runs)
        print(
            f"{name:26} {medians[-1]:6.1f} s  (each: {each})  processor {cpu:.1f} s  "
            f"peak {peak:.0f} MB"
        )
    print(f"wall-time ratio            {medians[1] / medians[0]:6.2f}")
    over = max(run.peak_mb for run in ours) - libraries.peak_mb
    print(
        f"memory: libraries alone {libraries.peak_mb:.0f} MB, one trial's arrays {arrays_mb:.1f} MB"
    )
    print(f"twinangle above the libraries: {over:.0f} MB, {over / arrays_mb:.1f} times the arrays")


if __name__ == "__main__":
    main()
