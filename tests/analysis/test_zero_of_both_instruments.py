"""Neutral standing by both instruments, and offset and limits with both zeroed there."""

from __future__ import annotations

import io
import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

import twinangle.closing
from twinangle.analysis import run_study
from twinangle.analysis.groups import group_trials
from twinangle.analysis.limits import pool
from twinangle.analysis.standing import neutral_standing
from twinangle.options import Options
from twinangle.report.limits import zeroed_blocks
from twinangle.report.methods import methods_text
from twinangle.report.trials import participant_sections
from twinangle.results import Absent, NeutralStanding
from twinangle.results.tables import write_tables
from twinangle.signals.recording import Interval, PairedAngles
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

OPTIONS = Options(
    confidence=0.95,
    margin_deg=None,
    error_ratio=None,
    published_interval=False,
    reference_sd_deg=None,
    against=None,
    seed=20,
)
SHIFT = 7.5  # degrees added to the whole of the reference


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    found = tmp_path_factory.mktemp("zero") / "study"
    path = write_demo_study(found, participants=2, walk_s=25.0)
    text = path.read_text(encoding="utf-8")
    both = '["kalman-two-sensors", "kalman-forward"]'
    assert both in text
    path.write_text(text.replace(both, '["kalman-two-sensors"]'), encoding="utf-8")
    return found


@pytest.fixture(scope="module")
def recorded(folder):
    return run_study(read_study(folder))


def shift_references(folder: Path) -> None:
    """Add a constant to the reference's angle in every file of it."""
    study = read_study(folder)
    column = study.reference.angle
    for trial in study.trials:
        if trial.reference is not None:
            table = pd.read_csv(trial.reference)
            table[column] += SHIFT
            table.to_csv(trial.reference, index=False)


@pytest.fixture(scope="module")
def moved(folder, tmp_path_factory):
    other = Path(shutil.copytree(folder, tmp_path_factory.mktemp("moved") / "study"))
    shift_references(other)
    return run_study(read_study(other))


def compared(results):
    found = [trial for trial in results.trials if trial.agreement is not None]
    assert len(found) >= 2
    return found


def test_a_constant_on_the_reference_moves_the_recorded_offset_and_not_the_zeroed(recorded, moved):
    for before, after in zip(compared(recorded), compared(moved), strict=True):
        np.testing.assert_allclose(
            after.agreement.offset, before.agreement.offset - SHIFT, atol=1e-3
        )
        np.testing.assert_allclose(after.offset_zeroed_deg, before.offset_zeroed_deg, atol=1e-3)
        np.testing.assert_allclose(
            after.standing.reference_deg, before.standing.reference_deg + SHIFT, atol=1e-3
        )


def test_a_constant_on_the_reference_moves_recorded_limits_and_not_the_zeroed(recorded, moved):
    assert {pooled.quantity for pooled in recorded.limits} > {"range_deg"}
    for item, other in zip(recorded.limits, moved.limits, strict=True):
        before, after = item.value, other.value
        if item.quantity == "range_deg":
            assert isinstance(before.zeroed, Absent)
            continue
        np.testing.assert_allclose(after.limits.bias, before.limits.bias - SHIFT, atol=1e-3)
        for name in ("bias", "lower", "upper", "sd"):
            np.testing.assert_allclose(
                getattr(after.zeroed, name), getattr(before.zeroed, name), atol=2e-3
            )
        np.testing.assert_allclose(after.bias_from_zero, before.bias_from_zero - SHIFT, atol=1e-3)


def test_the_wearable_is_zero_in_neutral_standing_and_the_reference_reads_its_own(recorded):
    for trial in compared(recorded):
        assert abs(trial.standing.wearable_deg) < 0.3
        assert abs(trial.standing.reference_deg) > 0.05
        assert trial.offset_zeroed_deg == pytest.approx(
            trial.agreement.offset - trial.standing.wearable_deg + trial.standing.reference_deg
        )


def tables_of(results, folder):
    return [
        path for path in write_tables(results, folder)
        if path.parent == folder and path.suffix == ".csv"
    ]  # fmt: skip


def test_both_zeros_reach_results_tables_report_and_terminal(recorded, tmp_path, monkeypatch):
    record = recorded.to_json()
    trial = next(one for one in record["trials"] if one["agreement"] is not None)
    assert set(trial["neutral_standing"]) == {
        "wearable_deg", "reference_deg", "difference_deg", "unknown"
    }  # fmt: skip
    assert trial["offset_zeroed_deg"] == pytest.approx(
        trial["agreement"]["offset_deg"] - trial["neutral_standing"]["difference_deg"]
    )
    limits = record["limits_of_agreement"][0]
    assert limits["bias_deg"] - limits["zeroed_at_standing"]["bias_deg"] == pytest.approx(
        limits["bias_from_zero_deg"]
    )
    json.dumps(record, allow_nan=False)
    tables = {path.stem: pd.read_csv(path) for path in tables_of(recorded, tmp_path)}
    told = set(tables["trial_numbers"]["quantity"])
    assert {"neutral_standing.reference_deg", "offset_zeroed_deg"} <= told
    other = tables["limits_otherwise_treated"].set_index("form")
    assert other.loc[["zeroed at standing"], "lower_deg"].notna().any()
    pages = str(participant_sections(recorded, {}))
    assert "Mean angle in neutral standing: wearable" in pages
    assert "Offset zeroed" in pages
    assert "By the zeros" in str(zeroed_blocks(recorded, recorded.limits))
    assert "zeroed at neutral standing" in methods_text(recorded)
    screen = Console(file=io.StringIO(), width=400)
    monkeypatch.setattr(twinangle.closing, "Console", lambda **_: screen)
    twinangle.closing.print_closing(recorded, tmp_path)
    assert "instruments' zeros differ in neutral standing" in screen.file.getvalue()


def test_zeros_of_either_sign_show_in_the_root_mean_square_of_the_biases(recorded):
    pooled = next(one.value for one in recorded.limits if one.quantity == "mean_deg")
    frame = pd.DataFrame({"who": pooled.participant, "d": pooled.difference, "z": pooled.zero})
    means = frame.assign(d0=frame["d"] - frame["z"]).groupby("who")[["d", "d0"]].mean()
    expected = np.sqrt((means**2).mean()).to_numpy()
    np.testing.assert_allclose(pooled.bias_rms_deg, expected)


def test_limits_of_one_participant_are_zeroed_as_well(recorded):
    one = compared(recorded)[0].participant
    mine = [trial for trial in recorded.trials if trial.participant == one]
    pooled = pool(group_trials(mine), OPTIONS)[0].value
    assert pooled.zeroed.n_participants == 1
    assert pooled.bias_from_zero == pytest.approx(pooled.limits.bias - pooled.zeroed.bias)


def test_one_recording_without_a_known_zero_is_named_and_no_limits_are_zeroed(recorded):
    trials = list(recorded.trials)
    index = next(k for k, trial in enumerate(trials) if trial.agreement is not None)
    lost = NeutralStanding(unknown="neutral standing is not given.")
    trials[index] = replace(trials[index], standing=lost)
    pooled = pool(group_trials(trials), OPTIONS)[0].value
    assert trials[index].label in pooled.zeroed.reason
    assert np.isnan(trials[index].offset_zeroed_deg)


# ---- where it is not known


def standing_trial(folder: Path, static):
    return replace(read_study(folder).trials[0], static=static)


def pair(reference=None, n=1000):
    return PairedAngles(np.full(n, 0.5), reference, 10.0, 100.0)  # 10 to 20 s


def test_mean_of_both_over_the_stretch_alone(folder):
    time = pair().time_s
    reference = np.where((time >= 12) & (time <= 14), -2.4, 60.0)
    found = neutral_standing(standing_trial(folder, Interval(12.0, 14.0)), pair(reference))
    assert found == NeutralStanding(0.5, pytest.approx(-2.4), "")
    assert found.difference_deg == pytest.approx(2.9)


@pytest.mark.parametrize(
    ("static", "reference", "message"),
    [
        (None, np.zeros(1000), "is not given"),
        (Path("standing.csv"), np.zeros(1000), "a recording of its own"),
        (Interval(12.0, 14.0), None, "there is no reference"),
        (Interval(6.0, 9.0), np.zeros(1000), "the wearable has 0 %"),
        (Interval(12.0, 14.0), np.r_[np.full(330, np.nan), np.zeros(670)], "reference has 36 %"),
    ],
)
def test_what_is_not_known_says_why(folder, static, reference, message):
    found = neutral_standing(standing_trial(folder, static), pair(reference))
    assert np.isnan(found.difference_deg)
    assert message in found.unknown
