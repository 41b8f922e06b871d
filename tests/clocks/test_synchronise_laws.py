"""Laws of the cross-correlation method, on simulated walks whose clock is known."""

from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from twinangle.clocks import align, synchronise
from twinangle.signals.recording import AngleRecording

FEW = settings(max_examples=4, deadline=None, derandomize=True)


def make_pair(walking: ModuleType, seed: int = 1, **changes: float):
    drawn = walking.PairSettings(
        **{"time_cv": 0.025, "slow_drift_deg": 0.5, "stride_error_deg": 0.5} | changes
    )
    return walking.make_pair(np.random.default_rng(seed), drawn)


def lag_at(clock, reference_s: float) -> float:
    return float(clock.to_wearable(np.array(reference_s)) - reference_s)


@pytest.mark.parametrize(("lag_s", "drift_ppm"), [(-12.4, 0.0), (0.0, 100.0), (7.03, -140.0)])
def test_known_clock_is_recovered(walking, lag_s, drift_ppm):
    wearable, reference = make_pair(walking, lag_s=lag_s, drift_ppm=drift_ppm, overlap_s=60.0)

    clock = synchronise(wearable, reference)

    middle = 30.0 + max(-lag_s, 0.0)
    truth = lag_s + middle * drift_ppm * 1e-6
    assert_allclose(lag_at(clock, middle), truth, atol=0.0006)
    assert_allclose(clock.lag_s, lag_s, atol=max(0.0006, 5 * clock.lag_se_s))
    assert_allclose(clock.drift_ppm, drift_ppm, atol=25)


@FEW
@given(shift_s=st.floats(-9.0, 9.0))
def test_moving_the_reference_clock_moves_the_lag_by_as_much(walking, shift_s):
    wearable, reference = make_pair(walking, drift_ppm=0.0)
    before = synchronise(wearable, reference, drift=False)

    moved = synchronise(wearable, replace(reference, start_s=shift_s), drift=False)

    assert_allclose(moved.lag_s, before.lag_s - shift_s, atol=1e-4)


@FEW
@given(gain=st.floats(0.3, 3.0), offset=st.floats(-90, 90), other=st.floats(-90, 90))
def test_gain_and_offset_do_not_matter(walking, gain, offset, other):
    wearable, reference = make_pair(walking)
    before = synchronise(wearable, reference)

    after = synchronise(
        replace(wearable, angle_deg=wearable.angle_deg * gain + offset),
        replace(reference, angle_deg=reference.angle_deg + other),
    )

    assert_allclose(after.lag_s, before.lag_s, atol=1e-5)
    assert_allclose(after.peak_correlation, before.peak_correlation, atol=1e-6)


def test_reversing_the_sign_of_both_changes_nothing(walking):
    wearable, reference = make_pair(walking)
    before = synchronise(wearable, reference)

    after = synchronise(
        replace(wearable, angle_deg=-wearable.angle_deg),
        replace(reference, angle_deg=-reference.angle_deg),
    )

    assert_allclose([after.lag_s, after.drift_ppm], [before.lag_s, before.drift_ppm], rtol=1e-6)


def test_swapping_the_instruments_flips_the_sign(walking):
    wearable, reference = make_pair(walking, drift_ppm=0.0, overlap_s=60.0)

    there = synchronise(wearable, reference, drift=False)
    back = synchronise(reference, wearable, drift=False)

    # The two regressions put the error on opposite sides, so they differ within their own error.
    assert_allclose(back.lag_s, -there.lag_s, atol=4 * there.lag_se_s)


@pytest.mark.parametrize("reference_hz", [50.0, 148.0, 1000.0])
def test_resampling_the_reference_keeps_the_lag(walking, reference_hz):
    wearable, reference = make_pair(walking, reference_hz=1000.0, noise_deg=0.0)
    times = np.arange(0, reference.end_s, 1 / reference_hz)
    resampled = np.interp(times, reference.time_s, reference.angle_deg)

    clock = synchronise(wearable, AngleRecording(resampled, 0.0, reference_hz, "resampled.csv"))

    assert_allclose(clock.lag_s, synchronise(wearable, reference).lag_s, atol=2e-4)


@pytest.mark.parametrize("start_s", [1000.0, 1.7e9])
def test_clocks_that_count_from_long_ago(walking, start_s):
    wearable, reference = make_pair(walking, drift_ppm=0.0)
    before = synchronise(wearable, reference)

    late = synchronise(
        replace(wearable, start_s=start_s), replace(reference, start_s=start_s), drift=False
    )

    # A double holds a time of 1.7e9 s to 0.2 µs.
    assert_allclose(late.lag_s, before.lag_s, atol=5e-4)


def test_gaps_stay_gaps_and_do_not_move_the_lag(walking):
    wearable, reference = make_pair(walking, drift_ppm=0.0)
    holed = wearable.angle_deg.copy()
    holed[1500:1650] = np.nan
    holed[::97] = np.nan

    with_gaps = replace(wearable, angle_deg=holed)
    clock = synchronise(with_gaps, reference, drift=False)
    paired = align(with_gaps, reference, clock)

    assert_allclose(clock.lag_s, 3.217, atol=0.001)
    assert np.isnan(paired.wearable_deg[1500:1650]).all()
    whole = align(wearable, reference, clock).reference_deg[1500:1650]
    assert_allclose(paired.reference_deg[1500:1650], whole, atol=1e-9)


def test_figure_arrays_are_thinned_and_hold_the_peak(walking):
    wearable, reference = make_pair(walking, overlap_s=150.0)

    clock = synchronise(wearable, reference, max_lag_s=120.0)

    assert 100 < clock.candidate_lags_s.size <= 4000
    assert_allclose(np.nanmax(clock.candidate_correlation), clock.peak_correlation)
    assert clock.runner_up_correlation < clock.peak_correlation
    assert clock.window_time_s.size == clock.window_lag_s.size >= 4


@pytest.mark.parametrize("side", ["wearable", "reference"])
def test_a_short_recording_within_a_long_one_needs_only_what_it_can_meet(walking, side):
    """Half an hour against three minutes of it: the rest must not change the answer."""
    wearable, reference = make_pair(
        walking, overlap_s=1800.0, lag_s=5.0, drift_ppm=20.0, reference_hz=100.0
    )
    part = slice(100_000, 118_000)
    if side == "wearable":
        wearable = replace(wearable, angle_deg=wearable.angle_deg[part], start_s=1000.0)
        nearby = slice(100_000 - 6_000, 118_000 + 6_000)
        near = replace(reference, angle_deg=reference.angle_deg[nearby], start_s=940.0)
        clocks = synchronise(wearable, reference), synchronise(wearable, near)
    else:
        reference = replace(reference, angle_deg=reference.angle_deg[part], start_s=1000.0)
        nearby = slice(100_000 - 6_000, 118_000 + 6_000)
        near = replace(wearable, angle_deg=wearable.angle_deg[nearby], start_s=940.0)
        clocks = synchronise(wearable, reference), synchronise(near, reference)

    assert_allclose(lag_at(clocks[0], 1090.0), 5.0 + 1090 * 20e-6, atol=0.0005)
    assert_allclose(lag_at(clocks[0], 1090.0), lag_at(clocks[1], 1090.0), atol=2e-5)
