"""Real goniometer walks of few strides: analysed without and with settings of their own.

    python benchmarks/goniometer_pairs.py FOLDER             # of healthy_01.csv ... and summary.csv

The folder holds the knee channel of 22 walks with an electrogoniometer (Sanchez & Sotelo 2014, EMG
dataset in Lower Limb), 4 to 40 strides each, flexion negative in 6. The second instrument is
invented: the same angle with a smooth error of 1.5 degrees, on a clock 14 to 26 s away. Prints how
many are analysed, and the largest error of the lag: without columns of their own; and with
`expected_lag_s` (known to 20 ms, SD), `max_lag_s` of 0.4 s and `sign` in the trials table.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.ndimage import gaussian_filter1d

from twinangle.analysis import analyse_trial
from twinangle.study import read_study

RATE_HZ, SOURCE_HZ = 100, 1000
STUDY = """\
[study]
title = "Goniometers"
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
drift = false
"""
OWN = ["expected_lag_s", "max_lag_s", "sign"]


def write_pairs(source: Path, folder: Path, rng: np.random.Generator) -> pd.DataFrame:
    """Write both instruments' files of every walk, and return the rows with the true lags."""
    rows = []
    for walk in pd.read_csv(source / "summary.csv").itertuples():
        name, sign = str(walk.file), int(walk.sign_of_flexion)
        step = SOURCE_HZ // RATE_HZ
        angle = gaussian_filter1d(pd.read_csv(source / name)["knee_deg"], step - 2)[::step]
        error = gaussian_filter1d(rng.normal(size=angle.size), 30)
        lag = round(float(rng.uniform(14, 26)), 3)
        second = sign * angle + 2 + 1.5 * error / error.std()
        time = np.arange(angle.size) / RATE_HZ
        for role, values, start in (("r", angle, 0.0), ("w", second, lag)):
            frame = pd.DataFrame({"t": (time + start).round(4), "knee": values.round(2)})
            frame.to_csv(folder / f"{role}_{name}", index=False)
        rows.append(
            (name[:-4], f"w_{name}", f"r_{name}", lag + rng.normal(0, 0.02), 0.4, sign, lag)
        )
    return pd.DataFrame(rows, columns=["participant", "wearable", "reference", *OWN, "true"])


def main() -> None:
    """Print both counts."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    source = parser.parse_args().folder
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        rows = write_pairs(source, folder, np.random.default_rng(22))
        (folder / "study.toml").write_text(STUDY)
        for what, columns in (("without", []), ("with", OWN)):
            table = rows[["participant", "wearable", "reference", *columns]]
            table.to_csv(folder / "trials.csv", index=False)
            study = read_study(folder)
            found = [analyse_trial(study, trial)[0] for trial in study.trials]
            errors = [
                abs(trial.synchronisation.lag_s - true)
                for trial, true in zip(found, rows["true"], strict=True)
                if trial.status == "ok" and trial.synchronisation is not None
            ]
            print(
                f"{what} own settings: {len(errors)} of {len(found)} walks analysed, the lag off "
                f"by {1e3 * max(errors, default=float('nan')):.1f} ms at most"
            )


if __name__ == "__main__":
    main()
