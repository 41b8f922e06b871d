"""A column that is no covariate is refused with what it was meant for; a covariate stays one."""

from __future__ import annotations

import pytest

from twinangle.errors import StudyError
from twinangle.study.trial_row import Needs
from twinangle.study.trials_table import read_trials

NOTHING = Needs(static=False, reference=True, events=False)


def read(folder, column, cell="x", *, others=""):
    (folder / "a.csv").write_text("time_s\n")
    (folder / "b.csv").write_text("time_s\n")
    empty = "," * len(others.split(",")) if others else ""
    header = f"participant,wearable,{column}" + (f",{others}" if others else "")
    (folder / "trials.csv").write_text(f"{header}\nP1,a.csv,{cell}{empty}\n")
    return read_trials(folder, "trials.csv", NOTHING)[1]


@pytest.mark.parametrize(
    ("column", "meant"),
    [
        ("refrence", "reference"),
        ("Reference file", "reference"),
        ("conditions", "condition"),
        ("trail", "trial"),
        ("excluded", "exclude"),
        ("start", "start_s"),
        ("end", "end_s"),
        ("static_start", "static_start_s"),
        ("expected_lag", "expected_lag_s"),
        ("max lag s", "max_lag_s"),
        ("reference_sign", "sign"),
    ],
)
def test_a_misspelt_column_is_refused_with_the_nearest(tmp_path, column, meant):
    with pytest.raises(StudyError) as caught:
        read(tmp_path, column)
    text = str(caught.value)
    assert f"row 1: column {column!r} is not known. Did you mean {meant!r}?" in text
    assert "covariate" in text


@pytest.mark.parametrize(
    ("column", "section"),
    [
        ("filter_hz", "reference"),
        ("offset", "reference"),
        ("lag_s", "synchronisation"),
        ("drift", "synchronisation"),
        ("rate_hz", "wearable"),
        ("reference_offset", "reference"),
        ("synchronisation_method", "synchronisation"),
    ],
)
def test_a_setting_of_the_whole_study_is_refused(tmp_path, column, section):
    with pytest.raises(StudyError) as caught:
        read(tmp_path, column, "1")
    text = str(caught.value)
    assert f"column {column!r}" in text
    assert f"[{section}]" in text
    assert "whole study" in text
    assert "another name" in text  # the way out where it is a covariate all the same


def test_a_column_of_existing_files_is_refused(tmp_path):
    with pytest.raises(StudyError) as caught:
        read(tmp_path, "gonio", "b.csv")
    text = str(caught.value)
    assert "column 'gonio'" in text
    assert "'b.csv'" in text
    assert "'reference'" in text


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("age_years", "31"),
        ("speed_m_s", "1.2"),
        ("site", "north"),
        ("design", "b"),
        ("mass_kg", "70"),
        ("note", "b.csv was lost"),
        ("shoe", "c.csv"),  # no such file
        ("weather", ".."),
        ("group", "3"),
        ("terrain", "\x00"),
    ],
)
def test_covariates_stay_covariates(tmp_path, column, cell):
    (trial,) = read(tmp_path, column, cell)
    assert list(trial.covariates) == [column]


def test_a_near_name_beside_the_column_itself_is_a_covariate(tmp_path):
    (trial,) = read(tmp_path, "references", "windy", others="reference")
    assert trial.covariates == {"references": "windy"}
