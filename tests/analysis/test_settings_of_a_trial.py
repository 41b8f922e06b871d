"""A lag and a sign given for one recording are used for it, and the remedies name their columns.

Data: Sanchez & Sotelo (2014), EMG dataset in Lower Limb (licence not confirmed): the knee channel
of an electrogoniometer, 4 to 40 strides, flexion negative in 6 of 22 files. The second instrument
is invented: the same angle with a smooth error of 1.5°, on another clock.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.ndimage import gaussian_filter1d

from twinangle.analysis import analyse_trial
from twinangle.study import own_settings_note, read_study

DATA = Path(__file__).resolve().parents[2] / "../shared/data/goniometer-gait-22"
FILES = ("healthy_01", "healthy_03", "knee_disorder_08", "knee_disorder_02")
STUDY = """\
[study]
title = "Two goniometers, one invented"
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
[cycles]
method = "angle-peak"
[synchronisation]
drift = false
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Four short walks, two of them with flexion negative, the clocks 17 to 23 s apart."""
    if not DATA.exists():
        pytest.skip("../shared/data/goniometer-gait-22 is absent")
    folder = tmp_path_factory.mktemp("goniometers")
    (folder / "study.toml").write_text(STUDY)
    signs = pd.read_csv(DATA / "summary.csv").set_index("file")["sign_of_flexion"]
    rng = np.random.default_rng(22)
    rows = []
    for name in FILES:
        lag, sign = round(float(rng.uniform(17, 23)), 3), int(signs[f"{name}.csv"])
        angle = gaussian_filter1d(pd.read_csv(DATA / f"{name}.csv")["knee_deg"], 8)[::10]
        error = gaussian_filter1d(rng.normal(size=angle.size), 30)
        second = sign * angle + 2 + 1.5 * error / error.std()
        time = np.arange(angle.size) / 100
        for role, values, start in (("r", angle, 0.0), ("w", second, lag)):
            frame = pd.DataFrame({"t": (time + start).round(3), "knee": values.round(2)})
            frame.to_csv(folder / f"{role}_{name}.csv", index=False)
        rows.append({"participant": name, "wearable": f"w_{name}.csv", "reference": f"r_{name}.csv",
                     "expected_lag_s": round(lag + 0.05, 3), "max_lag_s": 0.4, "sign": sign,
                     "true": lag})  # fmt: skip
    return folder, pd.DataFrame(rows)


def analysed(folder, columns):
    path, rows = folder
    rows[["participant", "wearable", "reference", *columns]].to_csv(
        path / "trials.csv", index=False
    )
    study = read_study(path)
    return study, [analyse_trial(study, trial)[0] for trial in study.trials]


def test_without_them_the_walks_are_refused_and_each_remedy_names_its_column(folder):
    _, trials = analysed(folder, [])
    assert [trial.status for trial in trials].count("failed") >= 3
    for trial, sign, true in zip(trials, folder[1]["sign"], folder[1]["true"], strict=True):
        if trial.status == "ok":  # the evidence was clear without them, and right
            assert trial.synchronisation.lag_s == pytest.approx(true, abs=0.004)
        elif sign == -1:
            assert "mirror images" in trial.reason
            assert "column `sign` of the trials table" in trial.reason
        else:
            assert "`expected_lag_s`; the trials table has a column for either" in trial.reason


def test_with_them_every_walk_has_its_lag(folder):
    study, trials = analysed(folder, ["expected_lag_s", "max_lag_s", "sign"])
    for trial, true in zip(trials, folder[1]["true"], strict=True):
        assert trial.status == "ok", trial.reason
        assert trial.synchronisation.lag_s == pytest.approx(true, abs=0.002)
        assert trial.agreement.correlation > 0.99
    note = own_settings_note(study)
    assert "`sign` in 4 of 4 recordings" in note
