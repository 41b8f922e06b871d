"""Limits and masks in the trials table govern everything, as a file cut by hand would."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.analysis.checking import check_study
from twinangle.analysis.trial import analyse_trial
from twinangle.results import TrialResult
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

FIRST_S, LAST_S = 1.0, 54.0  # of an invented recording of 57 s, its standing from 1.5 to 6.5 s
PROCEDURES = '["vqf-hinge"]'
IMU = [f"{segment}_{signal}_{axis}" for segment in ("thigh", "shank") for signal in ("acc", "gyr")
       for axis in "xyz"]  # fmt: skip


@pytest.fixture(scope="module")
def walk(tmp_path_factory) -> Path:
    """One invented walk, analysed without magnetometers and without a functional movement."""
    folder: Path = tmp_path_factory.mktemp("part") / "study"
    write_demo_study(folder, participants=1, conditions=("indoor",), walk_s=30.0)
    text = (
        (folder / "study.toml")
        .read_text()
        .replace('["kalman-two-sensors", "kalman-forward"]', PROCEDURES)
    )
    (folder / "study.toml").write_text(text)
    rows = pd.read_csv(folder / "trials.csv", dtype=str)
    rows = rows.drop(columns=["functional_start_s", "functional_end_s"])
    rows[["static_start_s", "static_end_s", "start_s", "end_s"]] = ["1.5", "6.5", "", ""]
    rows.to_csv(folder / "trials.csv", index=False)
    return folder


def altered(walk: Path, target: Path, edit=None, *, reference=None, **cells: str):
    """Return the study with its files edited and cells of the trials table set."""
    folder = shutil.copytree(walk, target)
    for name, change in (("wearable", edit), ("reference", reference)):
        if change is not None:
            path = folder / name / "P01_indoor.csv"
            change(pd.read_csv(path)).to_csv(path, index=False)
    rows = pd.read_csv(folder / "trials.csv", dtype=str)
    for name, cell in cells.items():
        rows[name] = cell
    rows.to_csv(folder / "trials.csv", index=False)
    return read_study(folder / "study.toml")


def taken_off(frame: pd.DataFrame) -> pd.DataFrame:
    """Turn the sensors about in the hands after the walk, and set the logger's clock ahead."""
    late = frame["time_s"].to_numpy() > LAST_S + 0.01
    time = frame["time_s"].to_numpy()[late]
    rng = np.random.default_rng(1)
    for k, name in enumerate(IMU):
        swing = 6.0 if "gyr" in name else 9.0
        frame.loc[late, name] = swing * np.sin(2 * np.pi * (0.7 + 0.1 * k) * time) + (
            0.5 * rng.standard_normal(time.size)
        )
    frame.loc[late, "time_s"] += 0.4037  # no whole number of samples
    return frame


def cut(frame: pd.DataFrame) -> pd.DataFrame:
    return frame[(frame["time_s"] >= FIRST_S - 1e-6) & (frame["time_s"] <= LAST_S + 1e-6)]


def analysed(study) -> TrialResult:
    (found,) = analyse_trial(study, study.trials[0])
    assert found.status == "ok", found.reason
    return found


def numbers(found: TrialResult) -> list[float]:
    return [
        found.agreement.rms_demeaned,
        found.agreement.offset,
        found.synchronisation.lag_s,
        found.synchronisation.drift_ppm,
        found.over_time.rms_demeaned,
        found.cycles.kept.sum(),
    ]


def test_limits_in_the_table_do_what_cutting_the_file_does(walk, tmp_path):
    by_file = analysed(altered(walk, tmp_path / "cut", lambda frame: cut(taken_off(frame))))
    limits = {"start_s": str(FIRST_S), "end_s": str(LAST_S)}
    by_table = analysed(altered(walk, tmp_path / "limits", taken_off, **limits))

    np.testing.assert_array_equal(numbers(by_table), numbers(by_file))
    assert by_table.warnings == by_file.warnings
    np.testing.assert_array_equal(by_table.cycles.start_s, by_file.cycles.start_s)
    assert by_table.cycles.reason == by_file.cycles.reason


def test_standing_outside_the_limits_serves_all_the_same(walk, tmp_path):
    study = altered(walk, tmp_path / "late", taken_off, start_s="23.6", end_s=str(LAST_S))

    found = analyse_trial(study, study.trials[0])

    assert [one.status for one in found] == ["ok"], found[0].reason
    assert all(one.agreement.rms_demeaned < 2.5 for one in found)
    assert all(one.cycles.start_s.min() >= 23.6 for one in found)
    assert np.isfinite(found[0].standing.wearable_deg)


def test_a_masked_stretch_is_a_gap_for_everything(walk, tmp_path):
    def knocked(frame: pd.DataFrame) -> pd.DataFrame:
        inside = frame["time_s"].between(30.0, 31.0)
        frame.loc[inside, IMU] = 15.0
        return frame

    study = altered(
        walk, tmp_path / "mask", knocked, mask="29.9-31.1 knocked", start_s="1", end_s="54"
    )

    assert check_study(study).faults == ()
    (trial,) = analyse_trial(study, study.trials[0])
    assert trial.status == "ok", trial.reason
    touched = (trial.cycles.start_s <= 31.1) & (trial.cycles.end_s >= 29.9)
    reasons = [text for text, hit in zip(trial.cycles.reason, touched, strict=True) if hit]
    assert reasons
    assert set(reasons) == {"masked: knocked (29.9 to 31.1 s)"}
    assert any("1.2 s are masked" in text and "knocked" in text for text in trial.warnings)
    inside = (trial.paired.time_s >= 29.9) & (trial.paired.time_s <= 31.1)
    assert np.isnan(trial.paired.wearable_deg[inside]).all()
    assert np.isnan(trial.paired.reference_deg[inside]).all()


@pytest.mark.parametrize(
    ("cells", "part"),
    [
        ({"mask": "56-58 strap"}, "the masked stretch 56 to 58 s (strap) reaches outside"),
        ({"start_s": "80", "end_s": "90"}, "leave 0.00 s of it, at least 1 s is needed"),
    ],
)
def test_check_finds_what_the_recording_does_not_hold(walk, tmp_path, cells, part):
    (fault,) = check_study(altered(walk, tmp_path / "check", **cells)).faults

    assert "trials.csv, row 2" in fault
    assert part in fault
    assert "runs from 0.00 to 57.00 s" in fault or "57.01" in fault
