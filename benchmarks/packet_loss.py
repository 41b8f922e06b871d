"""What lost packets cost: kept cycles and moved numbers, single losses and runs.

    python benchmarks/packet_loss.py                # the sensors' rows
    python benchmarks/packet_loss.py --instrument reference

Writes an invented trial, leaves rows of one instrument's file out, and analyses it. Prints, share
by share and run by run (1 row, 3 rows and 10 rows on end, at 100 Hz), the kept cycles and how far
offset, RMS of the demeaned mean curves and per-cycle SD move. Runs of 10 rows, 0.1 s, are longer
than what is bridged: their cycles are dropped, as they should be.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

from twinangle.analysis import run_study
from twinangle.results import TrialResult
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

SHARES = (0.002, 0.005, 0.01, 0.02)
RUNS = (1, 3, 10)


def lost_rows(n_rows: int, share: float, run: int) -> np.ndarray:
    """Return which rows are lost: runs of `run` rows that never touch, `share` of all rows."""
    rng = np.random.default_rng([run, round(1e4 * share)])
    places = n_rows // (run + 2)
    lost = np.zeros(n_rows, dtype=bool)
    for start in rng.choice(places, size=round(share * n_rows / run), replace=False) * (run + 2):
        lost[start + 1 : start + 1 + run] = True
    return lost


def analyse(folder: Path) -> TrialResult:
    """Return the study's only trial under its first procedure."""
    return run_study(read_study(folder)).trials[0]


def numbers(trial: TrialResult) -> np.ndarray:
    """Return offset, RMS and per-cycle SD in degrees."""
    assert trial.agreement is not None
    assert trial.wearable_variability is not None
    return np.array(
        [trial.agreement.offset, trial.agreement.rms_demeaned, trial.wearable_variability.sd]
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--instrument", choices=("wearable", "reference"), default="wearable")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "study"
        write_demo_study(folder, participants=1, conditions=("indoor",))
        (file,) = (folder / options.instrument).iterdir()
        frame = pd.read_csv(file)
        whole = analyse(folder)
        assert whole.cycles is not None
        print(f"{int(whole.cycles.kept.sum())} cycles kept with no row lost")
        print("rows lost   on end   kept   offset, RMS, SD moved by (degrees)")
        for run in RUNS:
            for share in SHARES:
                frame[~lost_rows(len(frame), share, run)].to_csv(file, index=False)
                found = analyse(folder)
                if found.status != "ok" or found.cycles is None:
                    print(f"{share:8.1%} {run:8d}   {found.reason[:60]}", flush=True)
                    continue
                moved = "  ".join(f"{value:+.3f}" for value in numbers(found) - numbers(whole))
                kept = int(found.cycles.kept.sum())
                print(f"{share:8.1%} {run:8d} {kept:7d}   {moved}", flush=True)


if __name__ == "__main__":
    main()
