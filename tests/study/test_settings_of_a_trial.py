"""Settings that the trials table gives for one recording, over those of the study file."""

from __future__ import annotations

import pytest

from twinangle.errors import StudyError
from twinangle.study import read_study, settings_of

STUDY = """\
[study]
title = "x"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "t"
angle = "a"
[reference]
kind = "angle"
time = "t"
angle = "a"
sign = 1
[synchronisation]
method = "{method}"
expected_lag_s = 2.0
"""
HEAD = "participant,wearable,reference"


def read(folder, columns, *rows, method="cross-correlation", text=STUDY):
    folder.mkdir(exist_ok=True)
    (folder / "a.csv").write_text("t,a\n")
    (folder / "study.toml").write_text(text.replace("{method}", method))
    lines = [f"{HEAD},{columns}", *(f"P{i},a.csv,{row}" for i, row in enumerate(rows, 1))]
    (folder / "trials.csv").write_text("\n".join(lines) + "\n")
    return read_study(folder)


def fault(folder, columns, *rows, **kwargs):
    with pytest.raises(StudyError) as caught:
        read(folder, columns, *rows, **kwargs)
    return str(caught.value)


def test_a_cell_goes_before_the_study_file_and_an_empty_one_does_not(tmp_path):
    study = read(
        tmp_path, "expected_lag_s,max_lag_s,sign,wearable_sign", "a.csv,-3.5,0.4,-1,-1", "a.csv,,,,"
    )
    first, second = (settings_of(study, trial) for trial in study.trials)

    assert first.synchronisation.expected_lag_s == -3.5
    assert first.synchronisation.max_lag_s == 0.4
    assert (first.reference.sign, first.wearable.sign) == (-1, -1)
    assert second == study
    assert all(trial.covariates == {} for trial in study.trials)


def test_settings_of_a_trial_are_those_of_the_trial_however_often_asked(tmp_path):
    study = read(tmp_path, "sign", "a.csv,-1")
    (trial,) = study.trials
    once = settings_of(study, trial)
    assert settings_of(once, trial) == once


@pytest.mark.parametrize(
    ("column", "cell", "parts"),
    [
        ("sign", "negative", ["column 'sign'", "'negative'", "1", "-1"]),
        ("sign", "0", ["column 'sign'", "'0'"]),
        ("wearable_sign", "2", ["column 'wearable_sign'", "'2'"]),
        ("max_lag_s", "0", ["column 'max_lag_s'", "above 0"]),
        ("max_lag_s", "-1", ["column 'max_lag_s'", "above 0"]),
        ("expected_lag_s", "soon", ["column 'expected_lag_s'", "number of seconds"]),
    ],
)
def test_a_faulty_cell_is_named(tmp_path, column, cell, parts):
    text = fault(tmp_path, column, f"a.csv,{cell}")
    assert "row 2" in text
    assert all(part in text for part in parts)


@pytest.mark.parametrize(
    ("method", "column", "told"),
    [
        ("shared-clock", "max_lag_s", "searches for no lag"),
        ("shared-clock", "expected_lag_s", "'cross-correlation'"),
        ("event", "expected_lag_s", "'cross-correlation'"),
    ],
)
def test_a_lag_that_the_method_would_not_look_at_is_refused(tmp_path, method, column, told):
    text = fault(
        tmp_path,
        column,
        "a.csv,1",
        method=method,
        text=STUDY.replace("expected_lag_s = 2.0\n", ""),
    )
    assert column in text
    assert method in text
    assert told in text


def test_a_sign_without_a_reference_is_refused(tmp_path):
    text = fault(tmp_path, "sign", ",-1")
    assert "names no reference" in text
    assert "wearable_sign" in text  # what was meant, where the wearable is a ready-made angle


def test_the_sign_of_sensors_is_refused(tmp_path):
    three = '["{0}x", "{0}y", "{0}z"]'
    sensor = "".join(
        f"[wearable.{segment}]\naccelerometer = {three.format(segment[0] + 'a')}\n"
        f"gyroscope = {three.format(segment[0] + 'g')}\n"
        for segment in ("proximal", "distal")
    )
    text = STUDY.replace(
        'kind = "angle"\ntime = "t"\nangle = "a"\n[reference]',
        f'kind = "inertial"\ntime = "t"\n{sensor}[reference]',
        1,
    )
    found = fault(tmp_path, "static_start_s,static_end_s,wearable_sign", "a.csv,1,2,-1", text=text)
    assert "wearable_sign" in found
    assert "kind 'inertial'" in found
