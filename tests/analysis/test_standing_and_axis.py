"""Neutral standing and the flexion axis as a study states them, through whole trials."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.analysis import analyse_trial
from twinangle.errors import StudyError
from twinangle.simulate import write_demo_study
from twinangle.study import read_study


@pytest.fixture(scope="module")
def plain(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("plain") / "study"
    write_demo_study(folder, participants=1, walk_s=25.0)
    edit(folder, '["kalman-two-sensors", "kalman-forward"]', '["kalman"]')
    return folder


@pytest.fixture
def study_folder(plain, tmp_path) -> Path:
    return Path(shutil.copytree(plain, tmp_path / "study"))


def edit(folder: Path, old: str, new: str) -> None:
    text = (folder / "study.toml").read_text()
    assert old in text
    (folder / "study.toml").write_text(text.replace(old, new))


def say(folder: Path, line: str) -> None:
    edit(folder, 'procedures = ["kalman"]', f'procedures = ["kalman"]\n{line}')


def state(folder: Path, **cells: str) -> None:
    table = pd.read_csv(folder / "trials.csv", dtype=str, keep_default_na=False)
    table.assign(**cells).to_csv(folder / "trials.csv", index=False)


def analyse(folder: Path):
    study = read_study(folder)
    results = [analyse_trial(study, trial)[0] for trial in study.trials]
    return study, {result.condition: result for result in results}


@pytest.fixture(scope="module")
def expected(plain):
    return analyse(plain)[1]


def test_a_trial_states_its_own_standing(study_folder, expected):
    say(study_folder, "standing_deg = 2.0")
    state(study_folder, standing_deg=["5.5", ""])
    study, found = analyse(study_folder)
    assert [trial.standing_deg for trial in study.trials] == [5.5, None]
    for trial, shift in zip(study.trials, (5.5, 2.0), strict=True):
        moved, before = found[trial.condition], expected[trial.condition]
        np.testing.assert_allclose(
            moved.paired.wearable_deg, before.paired.wearable_deg + shift, atol=1e-9
        )


def test_standing_from_the_reference_makes_both_agree_there(study_folder, expected):
    say(study_folder, "standing_from_reference = true")
    study, found = analyse(study_folder)
    indoor = next(trial for trial in study.trials if trial.reference)
    paired = found[indoor.condition].paired
    inside = (paired.time_s >= indoor.static.start_s) & (paired.time_s <= indoor.static.end_s)
    apart = paired.wearable_deg[inside] - paired.reference_deg[inside]
    assert abs(np.nanmean(apart)) < 0.2  # the wearable's own scatter in standing
    shape = found[indoor.condition].agreement, expected[indoor.condition].agreement
    assert shape[0].rms_demeaned == pytest.approx(shape[1].rms_demeaned, abs=1e-9)
    assert abs(shape[0].offset - shape[1].offset) > 0.05
    assert any("taken from the reference" in text for text in found[indoor.condition].warnings)
    outdoor = next(trial for trial in study.trials if not trial.reference)
    assert any("has no reference to take" in text for text in found[outdoor.condition].warnings)
    np.testing.assert_array_equal(
        found[outdoor.condition].paired.wearable_deg,
        expected[outdoor.condition].paired.wearable_deg,
    )


@pytest.mark.parametrize("method", ["principal-component", "hinge"])
def test_the_axis_is_found_as_the_study_says(study_folder, expected, method):
    say(study_folder, f'axis_method = "{method}"')
    study, found = analyse(study_folder)
    assert study.wearable.axis_method == method
    for condition, result in found.items():
        assert result.status == "ok", result.reason
        change = result.paired.wearable_deg - expected[condition].paired.wearable_deg
        # Another axis, so another angle, but by little: the invented knee is nearly a hinge in
        # the functional movement.
        assert 0 < np.nanstd(change) < 1.0


def test_quality_holds_the_axes_and_the_residual_of_every_kept_cycle(expected):
    assert expected
    for result in expected.values():
        quality = result.angle_quality
        by_cycle = result.residual_by_cycle
        assert [each.index for each in by_cycle] == list(np.flatnonzero(result.cycles.kept))
        rms = [each.rms_deg for each in by_cycle]
        assert quality["residual_cycle_largest_deg"] == max(rms)
        assert quality["residual_cycle_median_deg"] == np.median(rms)
        assert 0 <= quality["axis_difference_deg"] < 10
        assert 0 <= quality["hinge_difference_deg"] <= 90


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('axis_method = "median"', r"`axis_method` is 'median'; accepted: 'mean-rate'"),
        ("standing_deg = 2.0\nstanding_from_reference = true", "as well as"),
        ('standing_from_reference = "yes"', "`standing_from_reference`"),
    ],
)
def test_faults_are_named(study_folder, line, message):
    say(study_folder, line)
    with pytest.raises(StudyError, match=message):
        read_study(study_folder)


def test_standing_must_be_a_number(study_folder):
    state(study_folder, standing_deg="straight")
    with pytest.raises(StudyError, match=r"row 2, column 'standing_deg'.*number of degrees"):
        read_study(study_folder)
