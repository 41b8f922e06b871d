"""Delimited text of every habit: as a recording and through a study, the same numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_array_equal

from twinangle import read_study
from twinangle.analysis import analyse_trial
from twinangle.errors import RecordingError
from twinangle.formats import read_recording

STUDY = """
[study]
title = "Habits"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "t"
angles = {{ first = "{first}", second = "{second}" }}
[cycles]
method = "angle-peak"
"""
TIMES = np.arange(0, 40, 0.02)
CURVE = 30 * (1 - np.cos(2 * np.pi * TIMES / 1.25)) * (1 + 0.1 * np.sin(TIMES))
VALUES = np.column_stack([CURVE.round(3), (CURVE + 2).round(4)])
FRAME = pd.DataFrame({"t": TIMES.round(2), "a": VALUES[:, 0], "b": VALUES[:, 1]})
FRAME.iloc[900:905, 1:] = np.nan


def text(frame=FRAME, **asked) -> str:
    return frame.to_csv(index=False, lineterminator="\n", **asked)


def under_the_names(row: str, **asked) -> str:
    head, rest = text(**asked).split("\n", 1)
    return f"{head}\n{row}\n{rest}"


HABITS = {
    "semicolons and decimal commas": text(sep=";", decimal=","),
    "tabs and decimal commas": text(sep="\t", decimal=","),
    "decimal commas in quotation marks": text(decimal=",", quoting=2),
    "semicolons and decimal points": text(sep=";"),
    "carriage returns": text().replace("\n", "\r\n"),
    "a byte order mark": "\ufeff" + text(),
    "every cell in quotation marks": text(quoting=1),
    "blanks around cells": text().replace(",", " , "),
    "units under the names": under_the_names("s,deg,deg"),
    "units in brackets under the names": under_the_names("[s];[deg];[°]", sep=";", decimal=","),
    "comments above": "# invented\n% nobody\n// nothing\n" + text(),
    "comments among the rows and at the end": text().replace("\n0.5,", "\n# pause\n0.5,")
    + "# end of file\n",
    "names in a comment": "# " + text(),
    "lines of text above": "Logger 7\nRate: 50 Hz\nStart;10:00;invented\n\n" + text(),
    "one line that names the delimiter": "sep=;\n" + text(sep=";", decimal=","),
    "blank lines": text().replace("\n1.0,", "\n\n\n1.0,"),
    "a delimiter at the end of every row": text(FRAME.assign(last=np.nan)).replace(",last", ","),
    "empty rows at the end": text() + ",,\n,,\n",
    "words for missing values": text(na_rep="N/A"),
    "a column of text": text(FRAME.assign(note="über")),
    "two rows of names": ",first,second\n" + text().replace("t,a,b\n", "t,knee,knee\n"),
    "a group of names over its channels": ",left,\nt,a,b\n" + text().split("\n", 1)[1],
    "exponents": text(float_format="%.12e"),
    "signs": text().replace(",0.", ",+0."),
}
NAMES = {"two rows of names": ("first knee", "second knee")}


def write(folder: Path, habit: str) -> Path:
    path = folder / ("walk.tsv" if habit.startswith("tabs") else "walk.csv")
    path.write_bytes(HABITS[habit].encode())
    return path


@pytest.mark.parametrize("habit", HABITS)
def test_every_habit_gives_the_same_recording(tmp_path, habit):
    names = NAMES.get(habit, ("a", "b"))

    recording = read_recording(write(tmp_path, habit), columns=names, time="t")

    assert recording.channels == names
    assert_array_equal(recording.time_s, FRAME["t"])
    assert_array_equal(recording.columns(names), FRAME[["a", "b"]])
    units = {
        "units under the names": ("deg", "deg"),
        "units in brackets under the names": ("deg", "°"),
    }
    assert recording.units == units.get(habit, ("", ""))


@pytest.mark.parametrize("habit", HABITS)
def test_every_habit_gives_the_same_numbers_in_a_study(tmp_path, habit):
    found = run(tmp_path / "habit", habit)
    plain = tmp_path / "plain"
    plain.mkdir()
    (plain / "walk.csv").write_text(text())
    expected = run(plain, None)

    assert expected
    for one, other in zip(found, expected, strict=True):
        assert one.status == other.status == "ok", one.reason
        assert_array_equal(one.paired.wearable_deg, other.paired.wearable_deg)
        assert one.cycles.reason == other.cycles.reason
        assert one.wearable_variability.sd == other.wearable_variability.sd


def run(folder: Path, habit: str | None):
    folder.mkdir(exist_ok=True)
    name = "walk.csv" if habit is None else write(folder, habit).name
    first, second = NAMES.get(habit or "", ("a", "b"))
    (folder / "study.toml").write_text(STUDY.format(first=first, second=second))
    (folder / "trials.csv").write_text(f"participant,wearable\nP01,{name}\n")
    study = read_study(folder)
    return analyse_trial(study, study.trials[0])


@pytest.mark.parametrize(
    ("habit", "said"),
    [
        ("units under the names", "units read from the row under the header"),
        ("comments among the rows and at the end", "2 comment line(s) among the rows passed over"),
        ("names in a comment", "column names read from the comment line"),
        ("lines of text above", "3 line(s) of text above the column names passed over"),
        ("two rows of names", "column names made of two rows"),
        ("empty rows at the end", "2 empty row(s) at the end left out"),
    ],
)
def test_what_was_passed_over_or_understood_is_told_in_the_results(tmp_path, habit, said):
    assert any(said in text for result in run(tmp_path, habit) for text in result.warnings)


def test_commas_that_may_part_thousands_are_refused(tmp_path):
    (tmp_path / "walk.csv").write_text('t,a\n0,"1,234"\n1,"2,345"\n')

    with pytest.raises(RecordingError, match="column 'a': is '1,234'"):
        read_recording(tmp_path / "walk.csv", columns=["a"], time="t")
