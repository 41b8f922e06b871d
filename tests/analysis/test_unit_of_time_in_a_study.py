"""A study whose times are milliseconds: refused with the remedy, read with it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from twinangle.analysis.reading import read_trial
from twinangle.errors import RecordingError, StudyError
from twinangle.export.study_files import _clocked
from twinangle.formats import refuse_strange_rate
from twinangle.signals.recording import Recording
from twinangle.study import read_study

STUDY = """\
[study]
title = "x"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "time"
{unit}
angle = "knee"
"""


@pytest.fixture
def study(tmp_path):
    time = np.arange(0, 77_000, 10)  # 77 s would be 21 h
    angle = 30 + 30 * np.sin(time / 200)
    pd.DataFrame({"time": time, "knee": angle}).to_csv(tmp_path / "a.csv", index=False)
    (tmp_path / "trials.csv").write_text("participant,wearable\nP1,a.csv\n")

    def make(unit=""):
        (tmp_path / "study.toml").write_text(STUDY.format(unit=unit))
        return read_study(tmp_path)

    return make


def test_check_refuses_a_rate_that_no_movement_is_recorded_at(study):
    unstated = study()
    with pytest.raises(RecordingError) as caught:
        read_trial(unstated, unstated.trials[0])
    fault = str(caught.value)
    assert "a.csv: its times step at 0.1 Hz" in fault
    assert '`time_unit = "ms"` would make it 100 Hz' in fault


@pytest.mark.parametrize(
    ("step", "stated", "told"),
    [
        (
            1e-3 / 128,
            "ms",
            '`time_unit = "ms"` is likely wrong (`time_unit = "s"` would make it 128 ',
        ),
        (10.0, "s", '`time_unit = "s"` is likely wrong (`time_unit = "ms"` would make it 100 Hz)'),
        (1e-5, None, "they are not in seconds (days, hours or minutes?)"),
    ],
)
def test_a_unit_that_the_study_states_is_named_as_the_likely_cause(step, stated, told):
    time = np.arange(100) * step
    with pytest.raises(RecordingError) as caught:
        refuse_strange_rate(Recording(time, time[:, None], ("a",), ("",), "a.csv"), stated)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    "steps",
    [
        [0.01] * 500 + [3600.0] + [0.01] * 500,  # a pause of an hour
        ([1e-6] * 9 + [0.1]) * 100,  # ten at a time
        [0.0001] * 1000,  # an analogue instrument at 10 kHz
    ],
)
def test_gaps_and_bursts_say_nothing_of_the_unit(steps):
    time = np.concatenate([[0.0], np.cumsum(steps)])
    refuse_strange_rate(Recording(time, time[:, None] * 0, ("a",), ("",), "a.csv"))


def test_with_the_unit_stated_it_passes(study):
    stated = study('time_unit = "ms"')
    assert read_trial(stated, stated.trials[0]).timing["wearable"].rate_hz == pytest.approx(100)
    assert "time_unit" not in _clocked(stated.wearable)


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ('time_unit = "min"', "accepted: 's', 'ms' or 'us'"),
        ('time_unit = "ms"\nrate_hz = 100', "without `rate_hz`"),
    ],
)
def test_a_unit_without_a_meaning_is_refused(study, lines, told):
    with pytest.raises(StudyError) as caught:
        study(lines)
    assert told in str(caught.value)


def test_a_rate_left_open_names_the_column_of_times_as_the_way_out(tmp_path):
    text = STUDY.format(unit="").replace('time = "time"', 'rate_hz = "?"')
    (tmp_path / "study.toml").write_text(text)
    (tmp_path / "trials.csv").write_text("participant,wearable\nP1,a.csv\n")
    with pytest.raises(StudyError, match=r"write in its place `time`, .* and `time_unit`"):
        read_study(tmp_path)
