"""What `check` tells of files and pairs, and what it refuses before anything is computed."""

from __future__ import annotations

import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from twinangle import read_study
from twinangle.analysis import analyse_trial, check_study
from twinangle.analysis.checking import TrialCheck
from twinangle.analysis.file_facts import FileFacts, most_overlap, overlap_s
from twinangle.clocks import manual
from twinangle.closing_check import check_lines, gathered_lines
from twinangle.errors import StudyError
from twinangle.naming import rows_gathered
from twinangle.notices import Notice
from twinangle.signals.recording import Interval
from twinangle.simulate import write_demo_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("check") / "study"
    write_demo_study(folder, participants=1, walk_s=20.0)
    return read_study(folder / "study.toml")


def only_indoor(study, **changes):
    trial = next(each for each in study.trials if each.reference is not None)
    return replace(study, trials=(replace(trial, **changes),))


def told(study):
    """The faults of `check`, held against the reason that a run gives."""
    faults = check_study(study).faults
    (trial,) = study.trials
    reasons = {one.reason for one in analyse_trial(study, trial)}
    assert all(any(fault.endswith(reason) for fault in faults) for reason in reasons if reason)
    return " ".join(faults)


def test_rate_duration_channels_units_and_overlap_are_printed(study):
    found = check_study(study)
    first = found.trials[0]
    wearable, reference = first.files
    assert (wearable.rate_hz, reference.rate_hz) == pytest.approx((100, 200))
    assert (wearable.n_channels, reference.n_channels) == (18, 1)
    text = "\n".join(check_lines(first))
    for words in ("100 Hz", "gyroscope rad/s", "angle in deg", "18 channels", "no gap",
                  "seeks the lag, from -30 to 30 s"):  # fmt: skip
        assert words in text
    assert found.faults == ()


def test_gaps_are_counted(study, tmp_path):
    folder = tmp_path / "study"
    write_demo_study(folder, participants=1, walk_s=20.0)
    path = folder / "reference" / "P01_indoor.csv"
    frame = pd.read_csv(path)
    frame.iloc[1000:1100, 1] = np.nan  # half a second at 200 Hz
    frame.iloc[2000:2010, 1] = np.nan
    frame.to_csv(path, index=False)
    first = check_study(read_study(folder / "study.toml")).trials[0]
    reference = first.files[1]
    assert (reference.n_missing, reference.n_gaps) == (110, 2)
    assert reference.longest_gap_s == pytest.approx(0.5)
    assert "110 of" in reference.summary()


def test_an_overlap_is_that_of_two_intervals():
    file = FileFacts("wearable", "a", 1.0, 0.0, 60.0, 1, "", 61, 0, 0, 0.0)
    other = replace(file, start_s=100.0, end_s=130.0)
    assert overlap_s(file, other, -90.0) == pytest.approx(30.0)
    assert overlap_s(file, other, 0.0) == pytest.approx(-40.0)
    assert most_overlap(file, other, (-45.0, 45.0)) == pytest.approx((5.0, -45.0))
    assert most_overlap(file, other, (-200.0, 200.0))[0] == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"static": Interval(500.0, 505.0)}, "the static interval, 500 to 505 s"),
        ({"functional": Interval(500.0, 505.0)}, "the functional interval"),
        ({"start_s": 400.0}, "`start_s` and `end_s` (400 to"),
        ({"start_s": 10.0, "end_s": 10.2}, "leave 0.20 s of it"),
    ],
)
def test_stretches_outside_the_recording_are_refused(study, changes, words):
    assert words in told(only_indoor(study, **changes))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"expected_lag_s": 900.0}, "they record together for 0.0 s"),
        ({"expected_lag_s": 900.0}, "into this recording's row of the trials table, in a column"),
        ({"method": "trigger", "expected_lag_s": 0.0}, "needs a trigger channel in both files"),
        (
            {"method": "event", "events_s": ((500.0, 501.0),)},
            "`events_s`: 500 to 501 s lie outside",
        ),
    ],
)
def test_clocks_that_cannot_be_brought_together_are_refused(study, changes, words):
    clock = study.synchronisation.model_copy(update=changes)
    assert words in told(replace(only_indoor(study), synchronisation=clock))


def test_a_zero_without_standing_is_refused(study):
    reference = study.reference.model_copy(update={"zero_at_standing": True})
    found = told(replace(only_indoor(study, static=None), reference=reference))
    assert "zero_at_standing" in found


def test_procedures_without_their_signals_are_a_fault_of_the_study_file(study):
    bare = study.wearable.proximal.model_copy(update={"magnetometer": None})
    wearable = study.wearable.model_copy(update={"proximal": bare})
    (fault, *_) = check_study(replace(study, wearable=wearable, trials=())).faults
    assert "needs magnetometers; declare `magnetometer` in [wearable.proximal]" in fault


def test_a_cycle_forced_in_outside_the_recording_is_refused(study):
    (study.folder / "by_hand.csv").write_text(
        "time_s,decision,reason\n500,include,invented\n", encoding="utf-8"
    )
    cycles = study.cycles.model_copy(update={"overrides": "by_hand.csv"})
    assert "the cycle to include at 500 s lies outside" in told(
        replace(only_indoor(study), cycles=cycles)
    )


def test_a_reference_of_half_the_length_is_told(study, tmp_path):
    folder = tmp_path / "study"
    write_demo_study(folder, participants=1, walk_s=20.0)
    path = folder / "reference" / "P01_indoor.csv"
    frame = pd.read_csv(path)
    frame.iloc[: len(frame) // 3].to_csv(path, index=False)
    (found,) = check_study(read_study(folder / "study.toml")).warnings
    assert "check that both are of one trial" in found


def test_faults_of_both_files_are_listed_at_once(tmp_path):
    """A column of times in milliseconds in both instruments' files, stated in neither section."""
    path = write_demo_study(tmp_path / "study", participants=1, walk_s=8.0)
    for part in ("wearable", "reference"):
        file = path.parent / part / "P01_indoor.csv"
        file.write_text(file.read_text().replace("time_s", "t_ms", 1))
    path.write_text(path.read_text().replace('"time_s"', '"t_ms"'))
    faults = [text for text in check_study(read_study(path)).faults if "P01_indoor" in text]
    assert any("wearable/P01_indoor.csv" in text for text in faults)
    assert any("reference/P01_indoor.csv" in text for text in faults)


def of_rows(texts):
    """Return checks of rows 2 onwards, one a text."""
    return [
        TrialCheck(f"P{row:02} indoor", row, (), "", (), (text,))
        for row, text in enumerate(texts, 2)
    ]


def test_messages_alike_are_one_line_with_the_rows():
    note = Notice("has no speed.", "speed", "note")
    grave = [Notice(f"lies {k}° off.", "far-off", "grave", size=k) for k in (1, 9, 3, 4)]
    told = list(gathered_lines([*of_rows([note] * 11), *of_rows(grave)]))
    worst = "the worst of them, P03 indoor (row 3): lies 9° off. (`--every-row` prints all.)"
    assert told == [
        f"Look at this first, rows 2 to 5 (4 rows); {worst}",
        "Note, rows 2 to 12 (11 rows): has no speed.",
    ]


def test_few_messages_are_told_one_by_one():
    texts = [Notice(f"lies {k}° off.", "far-off", size=k) for k in (1, 9, 3)]
    assert list(gathered_lines(of_rows(texts))) == [
        f"Warning, P{row:02} indoor (row {row}): lies {k}° off."
        for row, k in ((2, 1), (3, 9), (4, 3))
    ]
    assert "warning   lies 1° off." in "\n".join(check_lines(of_rows(texts)[0], every_row=True))


def test_faults_alike_are_one_line_with_every_row():
    faults = [f"trials.csv, row {row}, column 'side': is empty." for row in (2, 3, 4, 6, 9, 10)]
    other = "trials.csv, row 5: is something else, row 7: as it says."
    assert rows_gathered([*faults[:3], other, *faults[3:], "study.toml: `joint`"]) == [
        "trials.csv, rows 2 to 4, 6, 9 and 10 (6 rows), column 'side': is empty.",
        other,
        "study.toml: `joint`",
    ]
    assert rows_gathered(faults[:3]) == faults[:3]
    apart = [f"trials.csv, row {row}: P0{row}.csv: lasts 7.{row} s." for row in (2, 3, 4, 5)]
    assert rows_gathered(apart) == apart
    assert rows_gathered(apart, numbers_apart=False) == [
        "trials.csv, rows 2 to 5 (4 rows); the first of them, row 2: P02.csv: lasts 7.2 s."
    ]


def test_a_study_without_standing_is_told_once(study, tmp_path):
    folder = tmp_path / "study"
    shutil.copytree(study.folder, folder)
    path = folder / "trials.csv"
    rows = pd.concat([pd.read_csv(path, dtype=str).iloc[:1]] * 5, ignore_index=True)
    rows["trial"] = [str(k) for k in range(5)]
    rows[["static_start_s", "static_end_s"]] = ""
    rows.to_csv(path, index=False)
    with pytest.raises(StudyError) as caught:
        read_study(folder)
    assert str(caught.value).startswith(
        "trials.csv, rows 2 to 6 (5 rows), column 'static_start_s': no neutral standing"
    )
    assert "\n" not in str(caught.value)


def test_a_lag_that_steps_is_told_as_the_run_refuses_it(own_walks):
    """A logger's clock set ahead by 0.4 s in the middle of a walk of half a minute."""
    path = own_walks.folder / "w_P01.csv"
    time, angle = np.loadtxt(path, delimiter=",", skiprows=1, unpack=True)
    lines = [f"{t + 0.4 * (t > 17):.3f},{value:.3f}" for t, value in zip(time, angle, strict=True)]
    path.write_text("\n".join(["t,knee", *lines, ""]))
    study = read_study(own_walks.folder / "study.toml")
    (refused,) = analyse_trial(study, study.trials[0])
    assert "seems to have had its clock set ahead by 0.4" in refused.reason

    (found,) = check_study(study, sensors=True).trials
    (quick,) = check_study(study).trials

    assert found.faults == (refused.reason,)
    assert quick.faults == ()  # a run comes to it as it analyses


def test_what_is_grave_about_a_clock_is_told_and_a_sound_one_is_not(own_walks, monkeypatch):
    study = read_study(own_walks.folder / "study.toml")
    assert [one.faults + one.warnings for one in check_study(study, sensors=True).trials] == [()]

    def bent(*_):
        told = (
            Notice("the lags bend.", "clock-not-straight", "grave"),
            Notice("read.", "x", "note"),
        )
        return replace(manual(1.5, 0.0), warnings=told), None

    monkeypatch.setattr("twinangle.analysis.checking.place_reference", bent)
    (found,) = check_study(study, sensors=True).trials
    assert found.faults == ()
    assert found.warnings == ("the lags bend.",)
