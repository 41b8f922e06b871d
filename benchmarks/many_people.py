"""A study as it grows: time, memory and the cost of pooling for 10, 40 and more participants.

    python benchmarks/many_people.py                                  # 10, 40 and 200 people × 4
    python benchmarks/many_people.py --people 10 40 --plot growth.svg

Writes invented studies of one knee, each person walking twice indoors and twice outdoors for half
a minute, runs each once by `twinangle run --jobs 2` in a process of its own, and prints wall time,
time a recording, the largest resident set of any one process, and how long pooling alone takes (of
the same results, read back). The ratio is of the last study's time against that of the one before
it, divided by how many times as many recordings it has: 1 is growth in proportion. A study of one
person is run before the clock starts, since compiled functions are kept.
"""

from __future__ import annotations

import argparse
import csv
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from twinangle import read_results, read_study
from twinangle.analysis import pool_study
from twinangle.simulate import write_demo_study

sys.path.insert(0, str(Path(__file__).resolve().parent))
from whole_run import measure, twinangle


@dataclass(frozen=True)
class Grown:
    """One study: people, recordings, and what its run took."""

    people: int
    recordings: int
    wall_s: float
    peak_mb: float
    pooling_s: float


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


def grow(people: int, place: Path) -> Grown:
    study = make_study(place / "study", people, seed=7)
    run = measure(twinangle(study, place / "out", 2))
    read = read_study(study)
    trials = read_results(place / "out").trials
    start = time.perf_counter()
    pool_study(read, trials)
    pooling_s = time.perf_counter() - start
    shutil.rmtree(place)
    return Grown(people, len(read.trials), run.wall_s, run.peak_mb, pooling_s)


def draw(grown: list[Grown], path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 2.8), layout="constrained")
    panels = figure.subplots(1, 3)
    recordings = [each.recordings for each in grown]
    for ax, label, values in (
        (panels[0], "wall time of a run (s)", [each.wall_s for each in grown]),
        (panels[1], "largest process (MB)", [each.peak_mb for each in grown]),
        (panels[2], "pooling alone (s)", [each.pooling_s for each in grown]),
    ):
        ax.plot(recordings, values, "o-", color="#1f4e79")
        ax.set(xlabel="recordings", ylabel=label, xlim=(0, None), ylim=(0, None))
    figure.savefig(path)


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
                f"{last.people:4} people, {last.recordings:4} recordings: {last.wall_s:7.1f} s, "
                f"{last.wall_s / last.recordings:.2f} s a recording, largest process "
                f"{last.peak_mb:.0f} MB, pooling {last.pooling_s:.1f} s",
                flush=True,
            )
    if len(grown) > 1:
        before, last = grown[-2:]
        times = last.recordings / before.recordings
        ratio = last.wall_s / before.wall_s / times
        print(f"{times:g} times the recordings take {ratio:.2f} times that much time")
    if options.plot:
        draw(grown, options.plot)


if __name__ == "__main__":
    main()
