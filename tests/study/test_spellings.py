"""One person or condition under two spellings is refused: it would count as two."""

from __future__ import annotations

import pytest

from twinangle.errors import StudyError
from twinangle.study.trial_row import Needs
from twinangle.study.trials_table import read_trials

NOTHING = Needs(static=False, reference=True, events=False)


def read(folder, *rows):
    (folder / "a.csv").write_text("time_s\n")
    lines = ["participant,condition,trial,wearable"]
    lines += [f"{row},{n},a.csv" for n, row in enumerate(rows, 1)]
    (folder / "trials.csv").write_text("\n".join(lines) + "\n")
    return read_trials(folder, "trials.csv", NOTHING)[1]


@pytest.mark.parametrize(
    ("first", "second"),
    [("P01", "p01"), ("P01", "P-01"), ("P01", "P1"), ("sub 3", "Sub_03")],
)
def test_one_person_under_two_spellings(tmp_path, first, second):
    with pytest.raises(StudyError) as caught:
        read(tmp_path, f"{first},in", "X9,in", f"{second},out")
    text = str(caught.value)
    assert f"rows 2 and 4: participants {first!r} and {second!r}" in text
    assert "one spelling" in text


@pytest.mark.parametrize(("first", "second"), [("indoor", "Indoor"), ("in door", "in-door")])
def test_one_condition_under_two_spellings(tmp_path, first, second):
    with pytest.raises(StudyError) as caught:
        read(tmp_path, f"P1,{first}", f"P2,{second}")
    assert f"conditions {first!r} and {second!r}" in str(caught.value)


def test_other_people_pass(tmp_path):
    people = ("P1", "P10", "P11", "P1-1", "P101", "Q1", "1P", "11", "1.1", "1.11")
    assert len(read(tmp_path, *(f"{each},in" for each in people))) == len(people)
