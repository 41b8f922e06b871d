"""A rerun beside the first run: after a changed margin, after one changed recording of many.

    python benchmarks/kept.py                 # 40 one-minute recordings
    python benchmarks/kept.py --trials 8
    python benchmarks/kept.py --walk 360      # six-minute walks, a standard test
    python benchmarks/kept.py --walk 360 --procedures kalman,vqf --jobs 1

Runs `twinangle run` on an invented study with an empty cache, runs again with nothing
changed, with another margin, with one recording whose reference reads half a degree more (so that
all that shows its angle changes), with the last rows of it cut off (which its cycles do not reach),
and with another confidence. Prints wall and processor time of each and its ratio to the first,
which is the baseline. Compilation is cached by a run on a small study before the clock starts.

A recording lasts 27 s longer than its walk: a minute with 33 s, as where nothing else is said, and
six and a half with `--walk 360`, the time of the six-minute walk test (ATS 2002).
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import tempfile
from pathlib import Path

from twinangle import read_study

sys.path.insert(0, str(Path(__file__).resolve().parent))
from whole_run import make_study, measure, twinangle


def change_margin(study: Path) -> None:
    change_setting(study, "acceptable_deg", "3.5")


def change_confidence(study: Path) -> None:
    change_setting(study, "confidence", "0.9")


def change_setting(study: Path, name: str, value: str) -> None:
    text = study.read_text(encoding="utf-8")
    changed, n = re.subn(rf"(?m)^{name} = [\d.]+", f"{name} = {value}", text)
    if n != 1:
        sys.exit(f"{study} does not state {name} once")
    study.write_text(changed, encoding="utf-8")


def change_angle(study: Path) -> None:
    path = one_file(read_study(study).trials[0].reference)
    head, *lines = path.read_text(encoding="utf-8").splitlines()
    if len(head.split(",")) != 2:
        sys.exit(f"{path} is not a time and an angle")
    rows = (line.split(",") for line in lines)
    changed = [head, *(f"{time},{float(angle) + 0.5:.6g}" for time, angle in rows)]
    path.write_text("\n".join([*changed, ""]), encoding="utf-8")


def cut_end(study: Path) -> None:
    path = one_file(read_study(study).trials[0].wearable)
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[:-20]), encoding="utf-8")


def one_file(path: object) -> Path:
    if not isinstance(path, Path):
        sys.exit("the first recording is not one file")
    return path


def main() -> None:
    parser = argparse.ArgumentParser(description="Reruns beside the first run.")
    parser.add_argument("--trials", type=int, default=40)
    parser.add_argument("--walk", type=float, default=33.0, help="seconds; see above")
    parser.add_argument("--procedures", default="vqf", help="compared in each; or kalman,vqf")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        os.environ["TWINANGLE_KEPT"] = ""
        procedures, jobs = options.procedures, options.jobs
        warm = make_study(place / "warm", 1, procedures, 33.0)
        measure(twinangle(warm, place / "warm-out", 1))
        os.environ["TWINANGLE_KEPT"] = str(place / "kept")
        study = make_study(place / "study", options.trials, procedures, options.walk)
        out = place / "out"
        first = measure(twinangle(study, out, jobs))
        length = f"{options.walk + 27.0:g} s"
        print(
            f"{options.trials} recordings of {length}, {procedures}, {jobs} jobs on "
            f"{os.cpu_count()} processors"
        )
        print(f"first run              {first.wall_s:6.1f} s, processor {first.cpu_s:6.1f} s")
        for name, change in (
            ("nothing changed", None),
            ("margin changed", change_margin),
            ("one recording changed", change_angle),
            ("its end cut off", cut_end),
            ("confidence changed", change_confidence),
        ):
            if change is not None:
                change(study)
            run = measure(twinangle(study, out, jobs))
            print(
                f"{name:22} {run.wall_s:6.1f} s, processor {run.cpu_s:6.1f} s, "
                f"{run.wall_s / first.wall_s:.2f} and {run.cpu_s / first.cpu_s:.2f} of the first"
            )


if __name__ == "__main__":
    main()
