import pytest

from twinangle.errors import StudyError
from twinangle.study import read_study
from twinangle.study.overrides_table import read_overrides

STUDY = """
[study]
title = "Overrides"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "time_s"
angle = "knee_deg"
[cycles]
method = "angle-peak"
overrides = "cycles.csv"
"""
TABLE = "participant,condition,time_s,decision,reason\n"


@pytest.fixture
def study(tmp_path):
    (tmp_path / "study.toml").write_text(STUDY)
    (tmp_path / "a.csv").write_text("time_s,knee_deg\n0,1\n0.01,2\n")
    (tmp_path / "trials.csv").write_text(
        "participant,condition,wearable\nP01,indoor,a.csv\nP01,outdoor,a.csv\n"
    )
    (tmp_path / "cycles.csv").write_text(
        TABLE + "P01,indoor,12.5,exclude,stumbled\nP01,,30,include,looked odd and is not\n"
    )
    return read_study(tmp_path / "study.toml")


def test_rows_go_to_the_trials_that_their_identifiers_fit(study):
    indoor, outdoor = study.trials
    assert read_overrides(study, indoor) == (
        (12.5, "exclude", "stumbled"),
        (30.0, "include", "looked odd and is not"),
    )
    assert read_overrides(study, outdoor) == ((30.0, "include", "looked odd and is not"),)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("P09,indoor,1,exclude,x\n", r"row 2: fits no trial"),
        ("P01,indoor,soon,exclude,x\n", r"row 2, column 'time_s': found 'soon'"),
        ("P01,indoor,1,maybe,x\n", r"column 'decision': found 'maybe'; accepted: include or"),
        ("P01,indoor,1,exclude,\n", r"column 'reason': is empty"),
    ],
)
def test_rows_that_cannot_be_followed_are_refused(study, row, message):
    (study.folder / "cycles.csv").write_text(TABLE + row)
    with pytest.raises(StudyError, match=message):
        read_overrides(study, study.trials[0])


def test_a_table_without_its_columns_says_which(study):
    (study.folder / "cycles.csv").write_text("time_s,decision\n1,exclude\n")
    with pytest.raises(StudyError, match="lacks the column"):
        read_overrides(study, study.trials[0])


def test_a_missing_table_is_named(study):
    (study.folder / "cycles.csv").unlink()
    with pytest.raises(StudyError, match=r"cycles\.csv cannot be read"):
        read_overrides(study, study.trials[0])


def test_a_stray_quotation_mark_loses_no_row(study):
    (study.folder / "cycles.csv").write_text(
        TABLE + 'P01,indoor,12.5,exclude,"stumbled\nP01,,30,include,looked odd\n'
    )
    with pytest.raises(StudyError, match=r"row 2: a quotation mark"):
        read_overrides(study, study.trials[0])
