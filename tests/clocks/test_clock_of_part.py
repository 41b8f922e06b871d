"""Two rows for the two sides of a step, as its message advises: each finds its own clock."""

import re
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from twinangle.analysis.analysed_part import synchronised_angle
from twinangle.analysis.clock_of_part import (
    by_part_alone,
    clock_by_angles,
    lost_in_part,
    seen_by_both,
)
from twinangle.clocks import LagStep, Stepped, StepTold, StepWarned, manual, synchronise
from twinangle.errors import SynchronisationError
from twinangle.notices import kind_of
from twinangle.signals.recording import Interval, MaskedStretch
from twinangle.study import Trial

LAG_S, STEP_AT_S = 3.217, 30.0


@pytest.fixture(scope="module")
def pair(walking):
    drawn = walking.PairSettings(lag_s=LAG_S, overlap_s=60.0, extra_s=2.0, locked_deg=1.5)
    return walking.make_pair(np.random.default_rng(6), drawn)


def leap(recording, size_s, at_s=STEP_AT_S):
    """Set a clock ahead: what follows comes later by its times, with a gap as long between."""
    first = round((at_s - recording.start_s) * recording.rate_hz)
    gap = np.full(round(size_s * recording.rate_hz), np.nan)
    angle = np.concatenate([recording.angle_deg[:first], gap, recording.angle_deg[first:]])
    return replace(recording, angle_deg=angle)


def row(start_s=None, end_s=None, **cells):
    """Return a row whose standing and functional movement come first, as in most sessions."""
    functional = Interval(8.0, 20.0)
    static = Interval(2.0, 7.0)
    first = Trial(
        "P1", "1", "indoor", "", "right", Path("w.csv"), Path("r.csv"), static, functional,
        start_s, end_s, "", {}, 2,
    )  # fmt: skip
    return replace(first, **cells)


def found(trial, wearable, reference):
    return clock_by_angles(trial, wearable, partial(synchronise, reference=reference))


def refused(trial, wearable, reference):
    with pytest.raises(SynchronisationError) as caught:
        found(trial, wearable, reference)
    return str(caught.value)


@pytest.fixture(scope="module")
def advised(pair):
    """Return what is told of a step of 0.4 s, and the clock of the second row it advises."""
    wearable, reference = pair
    broken = leap(wearable, 0.4)
    told = refused(row(), broken, reference)
    start_s = float(re.search("`start_s` = ([0-9.]+)", told)[1])
    trial = row(start_s=start_s)
    return told, trial, found(trial, broken, reference)


def test_the_two_rows_that_a_step_is_told_with_both_find_their_clock(pair, advised):
    wearable, reference = pair
    told, _, behind = advised
    end_s = float(re.search("`end_s` = ([0-9.]+)", told)[1])

    before = found(row(end_s=end_s), leap(wearable, 0.4), reference)

    assert before.lag_s == pytest.approx(LAG_S, abs=0.006)
    assert behind.lag_s == pytest.approx(LAG_S + 0.4, abs=0.006)
    assert not by_part_alone(before)
    assert by_part_alone(behind)
    (text,) = (each for each in behind.warnings if "functional" in each)
    assert "before `start_s` lies on another clock" in text
    assert "gap" not in text


def test_calibration_of_another_clock_is_held_against_no_reference(advised):
    _, trial, behind = advised

    seen = seen_by_both(trial, behind)

    assert seen.functional is None
    assert 2.3 < seen.static.start_s < 2.5  # the clocks are 0.4 s apart
    assert 6.5 < seen.static.end_s < 6.7
    assert seen_by_both(trial, manual(LAG_S, 0.0)) is trial


def test_of_one_clock_the_functional_movement_helps_as_before(pair):
    wearable, reference = pair
    trial = row(start_s=34.0)
    clock = found(trial, wearable, reference)
    assert clock.lag_s == synchronise(synchronised_angle(trial, wearable), reference).lag_s
    assert not by_part_alone(clock)


def test_half_a_stride_between_squats_and_walk_is_no_gap_but_perhaps_the_other_side(pair):
    wearable, reference = pair
    half_s = 0.5 * stride_of(reference)
    told = refused(row(start_s=34.0), leap(wearable, half_s), reference)
    assert "see first whether left and right were exchanged" in told
    assert "leave the functional movement out of this row" in told
    assert " gap " not in told
    assert "Mend the file" not in told

    alone = found(row(start_s=34.0, functional=None), leap(wearable, half_s), reference)
    assert alone.lag_s == pytest.approx(LAG_S + half_s, abs=0.008)


def stride_of(reference):
    """Return the stride of the invented walk, by the spectrum of its reference."""
    angle = np.nan_to_num(reference.angle_deg - np.nanmean(reference.angle_deg))
    spectrum = np.abs(np.fft.rfft(angle, 1 << 16))
    hz = np.fft.rfftfreq(1 << 16, 1 / reference.rate_hz)
    band = (hz > 0.6) & (hz < 1.4)
    return float(1 / hz[band][np.argmax(spectrum[band])])


def test_a_mask_over_the_step_is_not_told_as_a_gap_of_the_file(pair):
    wearable, reference = pair
    mask = MaskedStretch(28.0, 33.0, "a knock")
    broken = leap(wearable, 0.4)
    time = broken.time_s
    masked = np.where((time >= 28.0) & (time <= 33.0), np.nan, broken.angle_deg)
    told = refused(row(mask=(mask,)), replace(broken, angle_deg=masked), reference)
    assert "the lag between them steps by 0.4" in told
    assert "has a gap of" not in told


def test_a_stated_lag_need_only_be_that_of_the_part(pair):
    wearable, reference = pair
    broken, trial = leap(wearable, 0.4), row(start_s=34.0)
    assert lost_in_part(trial, broken, reference, manual(LAG_S + 0.4, 0.0)) == ""
    told = lost_in_part(trial, broken, reference, manual(LAG_S, 0.0))
    assert "the lag between them steps by 0.4" in told
    assert " gap of" not in told


STEP = Stepped(LagStep(22.0, 19.0, 30.0, 3.2, 3.5, 30.0, 0.01, 1.1), ("w.csv", "r.csv"))


def found_by(pair, whole, part):
    """Return the clock where the whole gives one answer and the part alone another."""

    def search(angle):
        answer = whole if angle.start_s < 10.0 else part
        if isinstance(answer, str):
            raise SynchronisationError(answer)
        return answer

    return clock_by_angles(row(start_s=34.0), pair[0], search)


def test_a_part_that_cannot_be_told_alone_is_told_with_the_reason(pair):
    with pytest.raises(SynchronisationError) as caught:
        found_by(pair, StepTold(STEP), "it cannot be told which cycle is which.")
    told = str(caught.value)
    assert "by it the lag is +3.200 s, by what is analysed +3.500 s" in told
    assert told.endswith("alone, and there: it cannot be told which cycle is which.")


def test_a_step_within_the_part_is_told_of_the_part(pair):
    own = StepTold(replace(STEP, step=replace(STEP.step, time_s=50.0, first_s=48.0, last_s=52.0)))
    for whole in (StepTold(STEP), own):
        with pytest.raises(SynchronisationError) as caught:
            found_by(pair, whole, own)
        assert "at about 50.0 s" in str(caught.value)


def test_a_step_that_is_warned_of_outside_the_part_leaves_the_functional_movement_out(pair):
    clock, text = manual(3.2, 0.0), StepWarned("the lags step.", STEP)
    found = found_by(pair, replace(clock, warnings=(text,)), manual(3.5, 0.0))
    assert found.lag_s == 3.5
    assert [kind_of(each) for each in found.warnings] == ["functional-on-another-clock"]
