"""What is measured in a recording is kept apart from what a confidence enters."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from twinangle import read_study
from twinangle.analysis import analyse_trial, file_reading, trial
from twinangle.analysis.measured import Measurements, after_known, may_be_kept
from twinangle.analysis.study import files_for
from twinangle.clocks import LagStep, Stepped, StepTold, StepWarned
from twinangle.clocks.stepped import UNDECIDED
from twinangle.errors import RecordingError, StudyError, SynchronisationError
from twinangle.kept import Key, key_of_measurements
from twinangle.kept.keys import OF_STATISTICS, OF_THE_WHOLE, key_of
from twinangle.notices import Notice
from twinangle.recordings_of_run import _lasts, _settings
from twinangle.results import TrialResult
from twinangle.results.equality import difference
from twinangle.study import Study

# Every setting that a kept recording is taken in spite of, with another value of it.
OTHERWISE: dict[str, dict[str, Any]] = {
    "agreement": {"acceptable_deg": 1.25, "error_ratio": 2.0, "published_interval": True},
    "conditions": {"against": "indoor"},
    "reference": {"accuracy_deg": 0.7},
    "report": {"figure_width_mm": (100.0,), "figure_formats": ("svg",), "dpi": 450},
}
TWO = """\
[study]
title = "Two sleeves (invented)"
joint = "knee"
trials = "trials.csv"
invented = true
[wearables.long]
kind = "angle"
time = "t"
angle = "long"
[wearables.short]
kind = "angle"
time = "t"
angle = "short"
[reference]
kind = "angle"
time = "t"
angle = "true"
[synchronisation]
method = "shared-clock"
"""


def keys(settings: Mapping[str, Mapping[str, Any]]) -> tuple[Key, Key]:
    """Return the key of a recording's analysis, and that of what is measured."""
    key = key_of(
        code={}, settings=settings, row="one", files=(), folder=Path(), drawing="in one way"
    )
    assert key is not None
    return key, key_of_measurements(key, settings)


def test_every_setting_is_in_the_keys_but_those_that_are_named(single):
    """A key that was left out unseen would give the results of other settings."""
    study = read_study(single)
    settings = _settings(study)
    assert {name for name in settings if name != "study"} == {
        "wearable", "reference", "synchronisation", "cycles", "agreement", "conditions", "report",
    }  # fmt: skip
    own = keys(settings)
    for section, values in settings.items():
        for name in values:
            changed = settings | {section: dict(values) | {name: "another"}}
            whole, measured = (key != mine for key, mine in zip(keys(changed), own, strict=True))
            assert whole == (name not in OF_THE_WHOLE.get(section, ())), (section, name)
            assert measured == (whole and section not in OF_STATISTICS), (section, name)


def test_what_keys_leave_out_is_told_by_name_alone():
    assert {section: tuple(values) for section, values in OTHERWISE.items()} == OF_THE_WHOLE


def test_a_setting_that_keys_leave_out_changes_nothing_of_a_recording(single):
    """By experiment, each by itself, on a recording with a reference."""
    study = read_study(single)
    measured: Measurements = {}
    plain = analyse_trial(study, study.trials[0], measured=measured)
    assert plain[0].agreement is not None
    for section, values in OTHERWISE.items():
        for name, value in values.items():
            other = study.with_(**{section: {name: value}})
            assert _settings(other) != _settings(study), name
            known = {} if section not in OF_STATISTICS else measured
            found = analyse_trial(other, other.trials[0], measured=known)
            assert difference(found, plain) is None, name


def test_intervals_of_what_was_measured_are_those_of_the_whole_analysis(single, monkeypatch):
    """At another confidence, both ways, though then nothing is read."""
    study = read_study(single)
    other = study.with_(confidence=0.8, least_correlation=0.5, report={"documents": ()})
    kept: dict[str, Measurements] = {"study": {}, "other": {}}
    whole = {
        name: analyse_trial(one, one.trials[0], measured=kept[name])
        for name, one in (("study", study), ("other", other))
    }
    monkeypatch.setattr(trial, "open_trial", _never)
    for one, of, name in ((study, "other", "study"), (other, "study", "other")):
        found = analyse_trial(one, one.trials[0], measured=kept[of])
        assert difference(found, whole[name]) is None
    before, after = (whole[name][0] for name in ("study", "other"))
    assert {each.partition(".")[0] for each in _unlike(before, after)} == {
        "clock", "gyroscope_lag", "agreement", "variability", "budget",
    }  # fmt: skip


def _never(*_: object) -> None:
    raise AssertionError("a recording was read")


def _unlike(before: TrialResult, after: TrialResult) -> set[str]:
    """Return the fields in which two results differ."""
    return {
        item.name
        for item in fields(before)
        if difference(getattr(before, item.name), getattr(after, item.name)) is not None
    }


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """Two wearables and a reference on one clock; the first wearable is the less alike."""
    folder = tmp_path_factory.mktemp("two")
    rng = np.random.default_rng(4)
    time = np.arange(0, 34, 0.02)
    phase = 2 * np.pi * np.cumsum(rng.normal(1, 0.05, time.size)) * 0.02 / 1.1
    true = 30 - 25 * np.cos(phase) + 6 * np.sin(2 * phase)
    columns = {
        "t": time,
        "long": 30 - 25 * np.cos(phase - 0.45) + rng.normal(0, 0.3, time.size),
        "short": true + 2 + rng.normal(0, 0.3, time.size),
        "true": true,
    }
    table = np.column_stack(list(columns.values()))
    np.savetxt(folder / "one.csv", table, "%.4f", ",", header=",".join(columns), comments="")
    (folder / "study.toml").write_text(TWO, encoding="utf-8")
    (folder / "trials.csv").write_text(
        "participant,condition,side,wearable_long,wearable_short,reference\n"
        "P01,indoor,right,one.csv,one.csv,one.csv\n"
    )
    return read_study(folder)


def test_of_several_wearables_each_is_measured_once(two, monkeypatch):
    """Where the first fails by its curves, another cuts the cycles: that is measured anew."""
    measured: Measurements = {}
    plain = analyse_trial(two, two.trials[0], measured=measured)
    assert [one.status for one in plain] == ["ok", "ok"]
    other = two.with_(confidence=0.8)
    refusing = two.with_(least_correlation=0.99)
    whole = analyse_trial(other, other.trials[0])
    refused = analyse_trial(refusing, refusing.trials[0])
    assert [one.status for one in refused] == ["failed", "ok"]
    n = len(measured)
    assert n == 2
    found = analyse_trial(refusing, refusing.trials[0], measured=measured)
    assert difference(found, refused) is None
    assert len(measured) == n + 1
    monkeypatch.setattr(trial, "open_trial", _never)
    assert difference(analyse_trial(other, other.trials[0], measured=measured), whole) is None


def test_what_forgets_a_step_of_the_clock_is_not_kept(two):
    measured: Measurements = {}
    analyse_trial(two, two.trials[0], measured=measured)
    assert may_be_kept(measured)
    step = LagStep(50.0, 48.0, 52.0, 0.0, 0.04, 9.0, 0.1)
    told = StepWarned(f"It steps. {UNDECIDED}", Stepped(step, ("one.csv", "two.csv")))
    (pair, (one, *others)), *_ = measured.items()
    clock = one.result.synchronisation
    of_the_clock = replace(one.result, synchronisation=replace(clock, warnings=(told,)))
    for changed in (replace(one, told_after=(told,)), replace(one, result=of_the_clock)):
        assert not may_be_kept({**measured, pair: (changed, *others)})
        assert not may_be_kept({pair: (replace(one, undecided=changed), *others)})


def test_what_tells_of_a_step_is_not_said_to_come_of_an_uneven_clock():
    step = LagStep(50.0, 48.0, 52.0, 0.0, 0.4, 9.0, 0.1)
    told = StepTold(Stepped(step, ("one.csv", "two.csv")))
    uneven = Notice("one.csv: the clock does not run evenly.", "clock-step", "grave")
    flat = Notice("two.csv: was it disconnected?", "reference-flat", "grave")
    assert after_known((uneven,), told) == told
    assert after_known((flat, uneven), told) == f"{flat} This may be why: {told}"
    assert after_known((uneven,), "unlike.") == f"{uneven} This may be why: unlike."


def test_an_equal_setting_of_each_pair_of_instruments_is_in_the_keys(two):
    settings = _settings(two)
    own = keys(settings)
    assert {name for name in settings if name.startswith("pair 1")} >= {
        "pair 1", "pair 1 wearable", "pair 1 reference", "pair 1 synchronisation",
    }  # fmt: skip
    for section, name, left_out in (
        ("pair 1", "wearable", False),
        ("pair 1 wearable", "angle", False),
        ("pair 1 synchronisation", "lag_s", False),
        ("pair 1 reference", "accuracy_deg", True),
    ):
        changed = settings | {section: dict(settings[section]) | {name: "another"}}
        assert [key == mine for key, mine in zip(keys(changed), own, strict=True)] == [left_out] * 2


def test_a_recording_of_several_instruments_is_kept_though_one_was_not_there(two):
    """As outdoors, where a reference stays at home: that pair is excluded, and nothing failed."""
    ok, other = analyse_trial(two, two.trials[0])
    for status, kept in (("excluded", True), ("pooled", True), ("failed", False)):
        assert _lasts((ok, replace(other, status=status)), {}) is kept


def test_a_recording_without_one_of_two_wearables_reads_the_files_of_the_other(two, tmp_path):
    shutil.copytree(two.folder, tmp_path / "study")
    table = tmp_path / "study" / "trials.csv"
    table.write_text(table.read_text().replace("right,one.csv,one.csv,", "right,one.csv,,"))
    study = read_study(tmp_path / "study")
    assert [path.name for path in files_for(study, study.trials[0])] == ["one.csv"]


def out_of_memory(*_: object) -> None:
    raise MemoryError


def unreadable(*_: object) -> None:
    raise StudyError("[cycles] overrides: overrides.csv cannot be read (Stale file handle).")


def flat(*_: object) -> None:
    raise RecordingError("one.csv: channel 'short' holds the same value throughout.")


def too_still(*_: object) -> None:
    raise SynchronisationError("one.csv: the angle is too still.")


@pytest.mark.parametrize(
    ("fault", "kept"),
    [
        (None, True),
        (too_still, True),
        (flat, True),
        (unreadable, False),
        (out_of_memory, False),
    ],
)
def test_what_fails_by_its_numbers_is_kept_and_nothing_else_that_fails(
    two, monkeypatch, fault, kept
):
    """A pair that is refused for its curves, then pairs that fail before they have any."""
    if fault is not None:
        monkeypatch.setattr(trial, "require_fit", fault)
    study = two.with_(least_correlation=0.99)
    measured: Measurements = {}
    results = analyse_trial(study, study.trials[0], measured=measured)
    assert results[0].status == "failed"
    assert (_lasts(results, measured), may_be_kept(measured)) == (kept, kept)
    excluded = [replace(one, status="excluded", undecided=one) for one in results]
    assert _lasts(excluded, measured) is kept


def test_a_file_that_could_not_be_read_is_tried_again(two, monkeypatch):
    """The same words may come of the file's own content: nothing tells, so that it is not kept."""
    measured: Measurements = {}

    def refuse(*_: object, **__: object) -> None:
        raise RecordingError("one.csv: cannot be read: Input/output error.")

    monkeypatch.setattr(file_reading, "read_recording", refuse)
    results = analyse_trial(two, two.trials[0], measured=measured)
    assert {one.status for one in results} == {"failed"}
    assert not _lasts(results, measured)


def test_a_refusal_that_forgets_its_step_is_not_measured_again_from_what_is_kept(two):
    measured: Measurements = {}
    analyse_trial(two, two.trials[0], measured=measured)
    (pair, (one, *others)), *_ = measured.items()
    step = LagStep(50.0, 48.0, 52.0, 0.0, 0.04, 9.0, 0.1)
    reason = StepTold(Stepped(step, ("one.csv", "two.csv")))
    told = replace(one, result=replace(one.result, status="failed", reason=reason))
    assert not may_be_kept({pair: (told, *others)})


@pytest.mark.parametrize(
    ("why", "kept"), [("unexpected fault in twinangle (MemoryError: )", False), ("no cycle", True)]
)
def test_a_day_of_which_a_stretch_met_a_fault_is_not_kept(two, why, kept):
    one = analyse_trial(two, two.trials[0])[0]
    day: Any = SimpleNamespace(unread=(f"hours 0.0 to 0.5: {why}",))
    assert _lasts((replace(one, daily=day),), {}) is kept
