"""A contradiction refuses the trial with its cause, a doubt comes first; both are kept."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from twinangle.analysis import run_study
from twinangle.analysis.trial import analyse_trial
from twinangle.results.equality import difference
from twinangle.results.read_back import results_of
from twinangle.results.serialise import study_record
from twinangle.results.tables import write_tables
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

NEVER = ("too little", "resemble", "swapped", "give walking", "left-handed", "stride")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("physical") / "study"
    write_demo_study(folder, participants=1, conditions=("indoor",), walk_s=25.0)
    return folder


@pytest.fixture(scope="module")
def honest(folder):
    return run_study(read_study(folder))


def changed(folder, tmp_path, change):
    """Return the study with its one recording changed."""
    study = read_study(folder)
    (trial,) = study.trials
    table = pd.read_csv(trial.wearable)
    change(table)
    path = folder / "wearable" / f"{tmp_path.name}.csv"
    table.to_csv(path, index=False)
    return study, replace(trial, wearable=path)


def test_an_honest_trial_keeps_its_outcomes_and_they_are_read_back(honest, tmp_path):
    for trial in honest.trials:
        assert trial.status == "ok"
        assert {each.verdict for each in trial.plausibility} <= {"consistent", "not tested"}
        assert {"frame", "gravity", "yaw", "order"} <= {each.test for each in trial.plausibility}
    again = results_of(study_record(honest))
    for before, after in zip(honest.trials, again.trials, strict=True):
        assert difference(before.plausibility, after.plausibility) is None
    write_tables(honest, tmp_path)
    table = pd.read_csv(tmp_path / "plausibility.csv", keep_default_na=False)
    assert len(table) == len(honest.trials[0].plausibility)  # once a recording, not a procedure
    assert set(table.columns) >= {"test", "subject", "verdict", "value", "limit", "unit", "said"}
    untested = table[table["verdict"] == "not tested"]
    assert (untested["value"] == "").all()
    assert (untested["said"] != "").all()


def test_a_contradiction_is_the_only_thing_said(folder, tmp_path):
    def exchange(table):
        names = ["thigh_gyr_x", "thigh_gyr_y"]
        table[names] = table[names[::-1]].to_numpy()

    trials = analyse_trial(*changed(folder, tmp_path, exchange))
    for trial in trials:
        assert trial.status == "failed"
        assert trial.reason.startswith("proximal sensor: ")
        assert "In the gyroscope, x and y are exchanged" in trial.reason
        assert not any(word in trial.reason for word in NEVER)
        assert any(each.verdict == "contradicted" for each in trial.plausibility)


def test_a_doubt_is_the_first_warning(folder, tmp_path):
    def stretch(table):
        table[[f"shank_acc_{axis}" for axis in "xyz"]] *= 1.09

    for trial in analyse_trial(*changed(folder, tmp_path, stretch)):
        told = (trial.reason, *trial.warnings) if trial.reason else trial.warnings
        assert told[0].startswith("distal sensor: ")
        assert "% off 9.81 m/s²: its scale is wrong" in told[0]


def test_an_accelerometer_without_gravity_is_named(folder, tmp_path):
    def linear(table):
        for axis in "xyz":
            force = table[f"shank_acc_{axis}"]
            table[f"shank_acc_{axis}"] = force - force.rolling(150, 1, center=True).mean()

    for trial in analyse_trial(*changed(folder, tmp_path, linear)):
        assert trial.status == "failed"
        assert "gravity" in trial.reason
        assert not np.isfinite(trial.offset_zeroed_deg)


@pytest.mark.parametrize("last_s", [np.inf, 41.0])
def test_a_reference_that_was_unplugged_is_told_before_what_comes_of_it(folder, tmp_path, last_s):
    study = read_study(folder)
    (trial,) = study.trials
    table = pd.read_csv(trial.reference)
    (angle,) = (name for name in table if name != "time_s")
    out = table["time_s"].between(35.0, last_s)
    table.loc[out, angle] = 0.0
    path = folder / f"{tmp_path.name}.csv"
    table.to_csv(path, index=False)
    for found in analyse_trial(study, replace(trial, reference=path)):
        told = (found.reason, *found.warnings) if found.reason else found.warnings
        assert f"{path.name}, channel {angle!r}: does not change by a bit for" in told[0]
        assert "was it disconnected?" in told[0]
