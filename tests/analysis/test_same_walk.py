"""One walk in two rows is told: by its samples before a run, by the reference's time behind it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from twinangle.analysis.checking import check_study
from twinangle.analysis.same_walk import marks_of, with_walks_told
from twinangle.analysis.trial import analyse_trial
from twinangle.notices import gravity_of
from twinangle.signals.recording import Recording
from twinangle.study import Trial, read_study

HEAD = "participant,trial,wearable,reference,start_s,end_s,exclude"
AHEAD_S = 0.4037


def table(folder: Path, *rows: str):
    (folder / "trials.csv").write_text("\n".join([HEAD, *rows, ""]))
    return read_study(folder / "study.toml")


@pytest.fixture
def twice(own_walks):
    """One walk of 34 s: as it was recorded, and with all times behind 17 s mended."""
    folder = own_walks.folder
    time, angle = np.loadtxt(folder / "w_P01.csv", delimiter=",", skiprows=1, unpack=True)
    mended = time + AHEAD_S * (time > 17.0)
    for name, times, values in (("mended", mended, angle), ("anew", time + 1, 1.001 * angle)):
        lines = [f"{t:.4f},{value:.4f}" for t, value in zip(times, values, strict=True)]
        (folder / f"{name}.csv").write_text("\n".join(["t,knee", *lines, ""]))
    return folder


def told_by_check(study) -> tuple[str, ...]:
    found = check_study(study)
    assert not any(one.faults for one in found.trials)
    return found.settings


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        (",,", ",,", True),
        (",12,", ",,", True),  # a part, and the whole mended
        ("18,,", ",,", True),
        (",12,", "12.1,,", False),  # parts that do not overlap
        ("18,,", ",17,", False),
        (",,", ",,an earlier try", False),
    ],
)
def test_a_mended_file_beside_the_first_is_told_before_the_run(twice, first, second, told):
    study = table(twice, f"P01,1,w_P01.csv,r_P01.csv,{first}", f"P01,2,mended.csv,,{second}")

    found = told_by_check(study)

    assert len(found) == told
    for text in found:
        assert text.startswith("trials.csv, rows 2 and 3, column 'wearable': 'w_P01.csv' and")
        assert "hold the same samples" in text
        assert "`exclude`" in text
        assert "`twinangle compare`" in text


def test_files_of_the_same_bytes_are_told_once(twice):
    (twice / "copy.csv").write_bytes((twice / "w_P01.csv").read_bytes())
    rows = ("P01,1,w_P01.csv,,,,", "P01,2,copy.csv,,,,")
    (text,) = told_by_check(table(twice, *rows))
    assert "hold the same bytes" in text


def test_rows_at_one_time_of_the_reference_are_told_of_the_results(twice):
    """A file written anew in other numbers: its samples are others, the walk is not."""
    rows = ["P01,1,w_P01.csv,r_P01.csv,{},", "P01,2,anew.csv,r_P01.csv,{},"]
    study = table(twice, rows[0].format(",22"), rows[1].format("12,"))
    assert told_by_check(study) == ()

    (text,), second = (one.warnings for one in told_by_results(study))

    assert text.startswith("trials.csv, rows 2 and 3: their cycles lie at the same time of r_P01")
    assert gravity_of(text) == "grave"
    assert second == (text,)
    apart = table(twice, rows[0].format(",16"), rows[1].format("17.5,"))
    assert [one.warnings for one in told_by_results(apart)] == [(), ()]


def told_by_results(study):
    found = [one for trial in study.trials for one in analyse_trial(study, trial)]
    assert [one.status for one in found] == ["ok", "ok"]
    return with_walks_told(study, [replace(one, warnings=()) for one in found])


ROW = Trial("P1", "1", "in", "1", "", Path("w.csv"), None, None, None, None, None, "", {}, 2)


@given(
    channels=st.integers(1, 18),
    digits=st.integers(0, 2),
    first=st.integers(0, 300),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=15, deadline=None)
def test_samples_are_known_again_whatever_their_times_and_others_never(
    channels, digits, first, seed
):
    """A regular walk at 50 Hz, its angle in whole degrees at the coarsest: 50 strides of 1.1 s."""
    rng = np.random.default_rng(seed)
    time = np.arange(2750) / 50

    def walk():
        phase = 2 * np.pi * (time / 1.1 + rng.normal(0, 0.02, time.size).cumsum() / 50)
        shape = 30 + 25 * np.sin(phase) + 12 * np.sin(2 * phase)
        waves = shape[:, None] * rng.uniform(0.5, 1.5, channels)
        values = np.round(waves + rng.normal(0, 0.3, waves.shape), digits)
        names = tuple(map(str, range(channels)))
        return Recording(time, values, names, ("",) * channels, "w.csv")

    one, other = walk(), walk()
    rows = slice(first, first + 1500)
    cut = replace(one, time_s=time[rows] * 1.01 + 3, values=one.values[rows])

    marks = marks_of(ROW, one)
    known = marks_of(ROW, cut)
    assert known.size > 40
    assert np.isin(known, marks).all()
    assert not np.isin(marks_of(ROW, other), marks).any()


def test_what_is_held_or_missing_has_no_marks():
    values = np.repeat(np.arange(300.0), 10)[:, None]
    still = Recording(np.arange(3000) / 50, values, ("a",), ("",), "w.csv")
    gaps = np.where(np.arange(3000)[:, None] % 100 == 0, np.nan, np.arange(3000.0)[:, None])
    assert marks_of(ROW, still).size == 0
    assert marks_of(ROW, replace(still, values=gaps)).size == 0
