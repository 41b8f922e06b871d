"""A study as it grows: time, memory and the cost of pooling for 10, 40 and more participants.

    python benchmarks/many_people.py                                  # 10, 40 and 200 people × 4
    python benchmarks/many_people.py --people 10 40 --plot growth.svg

Writes invented studies of one knee, each person walking twice indoors and twice outdoors for half
a minute, runs each once by `twinangle run --jobs 2` in a process of its own, and prints wall and
processor time, both a recording, the largest resident set of the run's own process and of its
workers, while they analyse and later when they draw what shows all recordings (from /proc, twice a
second, so on Linux), and how long pooling alone takes (processor time,
of the same results, read back). The ratio is of the last study's time against that of the one
before it, divided by how many times as many recordings it has: 1 is growth in proportion. A study
of one person is run before the clock starts, since compiled functions are kept.
"""

from __future__ import annotations

import argparse
import csv
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from twinangle import read_results, read_study
from twinangle.analysis import pool_study
from twinangle.simulate import write_demo_study

sys.path.insert(0, str(Path(__file__).resolve().parent))
from whole_run import twinangle

MEMORY = {"run": "own_mb", "worker, analysing": "analysing_mb", "worker, drawing": "drawing_mb"}
LOOK_S = 0.5  # between two looks at the memory of the processes


@dataclass(frozen=True)
class Grown:
    """One study: people, recordings, and what its run took."""

    people: int
    recordings: int
    wall_s: float
    cpu_s: float
    own_mb: float
    analysing_mb: float
    drawing_mb: float
    pooling_s: float
    refused: int


def make_study(folder: Path, people: int, seed: int) -> Path:
    """Write a study with four recordings a person; two by two they differ in their seed."""
    path = write_demo_study(folder, seed=seed, participants=people, walk_s=18.0)
    again = write_demo_study(folder / "again", seed=seed + 1, participants=people, walk_s=18.0)
    text = path.read_text(encoding="utf-8")
    found = 'procedures = ["kalman-two-sensors", "kalman-forward"]'
    if found not in text:
        sys.exit(f"{path} does not hold the line {found!r}")
    path.write_text(text.replace(found, 'procedures = ["vqf"]'), encoding="utf-8")
    table, second = folder / "trials.csv", again.parent / "trials.csv"
    with second.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    for row in rows:
        row["trial"] = "2"
        for column in ("wearable", "reference", "static", "functional"):
            if row.get(column) and (again.parent / row[column]).is_file():
                row[column] = f"again/{row[column]}"
    with table.open("a", newline="", encoding="utf-8") as stream:
        csv.DictWriter(stream, list(rows[0]), lineterminator="\n").writerows(rows)
    return path


def peak_mb(process: int) -> float:
    """Return the largest resident set of a process so far; 0 where it has ended."""
    try:
        status = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    except OSError:
        return 0.0
    held = [line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")]
    return int(held[0]) / 1024.0 if held else 0.0


def children(process: int) -> list[int]:
    """Return the processes that a process has started and that have not ended."""
    try:
        threads = list(Path(f"/proc/{process}/task").iterdir())
        return [int(one) for each in threads for one in (each / "children").read_text().split()]
    except OSError:
        return []


def resident_mb(process: int) -> float:
    """Return the resident set of a process now; 0 where it has ended."""
    try:
        pages = Path(f"/proc/{process}/statm").read_text(encoding="ascii").split()[1]
    except (OSError, IndexError):
        return 0.0
    return int(pages) * os.sysconf("SC_PAGE_SIZE") / 2**20


def lines_of(path: Path) -> int:
    return path.read_bytes().count(b"\n") if path.exists() else 0


def watched(command: list[str], said: Path, recordings: int) -> tuple[float, ...]:
    """Run a command; return wall and processor time, memory of it, and of its workers by phase.

    Status 1 is accepted beside 0: recordings that were refused are in the results.
    """
    start = time.perf_counter()
    own = analysing = drawing = 0.0
    log = said.with_suffix(".log")
    with said.open("wb") as stream:
        run = subprocess.Popen(
            [*command, "--log", str(log)], stdout=stream, stderr=subprocess.STDOUT
        )
        while not (ended := os.wait4(run.pid, os.WNOHANG))[0]:
            own = max(own, peak_mb(run.pid))
            now = max((0.0, *map(resident_mb, children(run.pid))))
            if lines_of(log) < recordings:
                analysing = max(analysing, now)
            else:
                drawing = max(drawing, now)
            time.sleep(LOOK_S)
    _, status, usage = ended
    run.returncode = os.waitstatus_to_exitcode(status)
    if run.returncode not in (0, 1):
        sys.exit(f"{' '.join(command)}\n{said.read_text(encoding='utf-8')}")
    cpu_s = usage.ru_utime + usage.ru_stime
    return time.perf_counter() - start, cpu_s, own, analysing, drawing


def grow(people: int, place: Path) -> Grown:
    study = make_study(place / "study", people, seed=7)
    read = read_study(study)
    measured = watched(twinangle(study, place / "out", 2), place / "said.txt", len(read.trials))
    trials = read_results(place / "out").trials  # a run without results ends here
    start = time.process_time()
    pool_study(read, trials)
    pooling_s = time.process_time() - start
    shutil.rmtree(place)
    refused = sum(trial.status == "failed" for trial in trials)
    return Grown(people, len(read.trials), *measured, pooling_s, refused)


def draw(grown: list[Grown], path: Path) -> None:
    import matplotlib as mpl
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 3.4), layout="constrained")
    panels = figure.subplots(1, 3)
    recordings = [each.recordings for each in grown]
    for ax, label, lines in (
        (panels[0], "time of a run (s)", {"wall": "wall_s", "processor": "cpu_s"}),
        (panels[1], "largest resident set (MB)", MEMORY),
        (panels[2], "pooling alone (processor s)", {"": "pooling_s"}),
    ):
        for (name, field), form in zip(lines.items(), ("o-", "s--", "^:"), strict=False):
            values = [getattr(each, field) for each in grown]
            ax.plot(recordings, values, form, color="#1f4e79", mfc="white", label=name)
        ax.set(xlabel="recordings", ylabel=label, xlim=(0, None), ylim=(0, None))
        if len(lines) > 1:
            ax.legend(frameon=False, loc="lower left", bbox_to_anchor=(0.0, 1.0))
    with mpl.rc_context({"svg.hashsalt": "growth", "svg.fonttype": "none"}):
        figure.savefig(path, metadata={"Date": None} if path.suffix == ".svg" else None)


def main() -> None:
    parser = argparse.ArgumentParser(description="Time, memory and pooling as a study grows.")
    parser.add_argument("--people", type=int, nargs="+", default=[10, 40, 200])
    parser.add_argument("--plot", type=Path, help="draw the three against the recordings")
    options = parser.parse_args()
    grown = []
    with tempfile.TemporaryDirectory() as scratch:
        grow(1, Path(scratch) / "warm")
        for people in options.people:
            grown.append(grow(people, Path(scratch) / str(people)))
            last = grown[-1]
            print(
                f"{last.people:4} people, {last.recordings:4} recordings, {last.refused} refused: "
                f"wall {last.wall_s:.1f} s, "
                f"{last.wall_s / last.recordings:.2f} s a recording; processor {last.cpu_s:.1f} s, "
                f"{last.cpu_s / last.recordings:.2f} s a recording; largest resident set: run "
                f"{last.own_mb:.0f} MB, worker analysing {last.analysing_mb:.0f} MB, drawing what "
                f"shows all {last.drawing_mb:.0f} MB; pooling "
                f"{last.pooling_s:.1f} s",
                flush=True,
            )
    if len(grown) > 1:
        before, last = grown[-2:]
        times = last.recordings / before.recordings
        wall, cpu = (getattr(last, k) / getattr(before, k) / times for k in ("wall_s", "cpu_s"))
        print(
            f"{times:g} times the recordings take {wall:.2f} times that much wall time, "
            f"{cpu:.2f} times that much processor time; a worker's memory while "
            f"it analyses is {last.analysing_mb / before.analysing_mb:.2f} times"
        )
    if options.plot:
        draw(grown, options.plot)


if __name__ == "__main__":
    main()
