"""Intervals of lag and drift."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from twinangle.clocks import (
    drift_interval,
    lag_interval,
    line_se_s,
    manual,
    shared_clock,
    synchronise,
)
from twinangle.clocks.clock_intervals import total_error
from twinangle.signals.recording import Synchronisation
from twinangle.simulate.demo import demo_trial
from twinangle.wearable.procedure_input import WearableTrial
from twinangle.wearable.procedures import estimate_motion

CLOCK = Synchronisation(
    method="cross-correlation",
    lag_s=2.0,
    lag_se_s=0.005,
    drift_ppm=100.0,
    drift_se_ppm=10.0,
    lag_statistical_s=0.004,
    lag_systematic_s=0.003,
    drift_statistical_ppm=10.0,
    drift_systematic_ppm=0.0,
    centre_s=50.0,
    centre_lag_se_s=0.005,
    centre_lag_df=10.0 * (5 / 4) ** 4,
    drift_df=4.0,
)


def test_student_quantiles_at_the_middle_of_the_overlap():
    lag, drift = lag_interval(CLOCK, systematic=False), drift_interval(CLOCK)

    # t tables: 2.228 for 10 degrees of freedom, 2.776 for 4; 100 ppm over 50 s are 5 ms.
    assert_allclose([lag.start_s, lag.end_s], 2.005 + np.array([-1, 1]) * 2.228 * 0.004, atol=1e-5)
    assert_allclose([drift.start_s, drift.end_s], [72.24, 127.76], atol=0.01)


def test_systematic_part_is_added_in_quadrature():
    lag = lag_interval(CLOCK)

    # Student's t for 24.4 degrees of freedom lies between the tables' 2.064 (24) and 2.060 (25).
    assert_allclose(lag.end_s - lag.start_s, 2 * 2.062 * 0.005, rtol=1e-3)


@given(st.floats(1e-6, 1.0), st.floats(1.0, 100.0), st.one_of(st.floats(0, 10.0), st.just(np.nan)))
def test_total_is_never_below_its_parts_and_frees_the_quantile(statistical, freedom, systematic):
    total, df = total_error(statistical, freedom, systematic)
    assert total >= max(statistical, np.nan_to_num(systematic)) * (1 - 1e-12)
    assert df >= freedom * (1 - 1e-9)
    if not systematic > 0:
        assert (total, df) == (statistical, freedom)


def test_band_of_the_line_is_narrowest_in_the_middle():
    error = line_se_s(CLOCK, np.array([0.0, 50.0, 100.0]))

    # 4 ms of scatter in the middle; 10 ppm over 50 s are 0.5 ms towards the ends
    assert_allclose(error, [np.hypot(4, 0.5) / 1e3, 4e-3, error[0]], rtol=1e-3)
    assert line_se_s(manual(1.0), np.zeros(2)) is None


@pytest.mark.nightly
def test_errors_and_intervals_hold_in_recordings_like_the_demo():
    """Their skin moves with the stride, and what it does to the lag changes over the recording."""
    z, held = [], []
    for number in range(1, 7):
        walk = demo_trial(number, seed=7)
        trial = WearableTrial(walk=walk.sensors, static=walk.static, functional=walk.functional)
        clock = synchronise(estimate_motion(trial, "vqf").angle, walk.reference)
        slope = walk.truth.drift_ppm
        lag = walk.truth.lag_s + clock.centre_s * slope * 1e-6
        found = clock.lag_s + clock.centre_s * clock.drift_ppm * 1e-6
        z.append([(found - lag) / clock.centre_lag_se_s,
                  (clock.drift_ppm - slope) / clock.drift_se_ppm])  # fmt: skip
        for one, true in ((lag_interval(clock), lag), (drift_interval(clock), slope)):
            held.append(one.start_s <= true <= one.end_s)
        assert clock.lag_se_s >= clock.centre_lag_se_s > clock.lag_statistical_s
    assert sum(held) >= 11  # of 95 %; the statistical parts alone held no lag, and half the drifts
    assert (np.abs(z) < 2.6).all()  # 1 in 100 of a normal value
    assert 0.3 < np.sqrt(np.mean(np.square(z)[:, 0])) < 2.0  # the error is of the right size


def test_unknown_freedom_is_normal_and_no_error_no_interval():
    free = replace(CLOCK, centre_lag_df=float("nan"))
    lag = lag_interval(free, systematic=False)

    assert_allclose(lag.end_s - lag.start_s, 2 * 1.95996 * 0.004, rtol=1e-5)
    assert lag_interval(manual(1.0)) is None
    assert drift_interval(shared_clock()) is None


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95.0, float("nan")])
def test_confidence_must_be_a_share(confidence):
    with pytest.raises(ValueError, match="`confidence` must lie between 0 and 1"):
        lag_interval(CLOCK, confidence=confidence)


def test_half_of_the_half_intervals_hold_the_lag(walking):
    """A 50 % interval must miss about as often as it holds: 95 % ones hardly show their width."""
    held = []
    for seed in range(40):
        rng = np.random.default_rng([44, seed])
        drawn = replace(walking.draw_settings(rng, "steady"), locked_deg=0.0, overlap_s=20.0)
        clock = synchronise(
            *walking.make_pair(rng, drawn), expected_lag_s=drawn.lag_s, max_lag_s=0.4
        )
        truth = drawn.lag_s + clock.centre_s * drawn.drift_ppm * 1e-6
        lag = lag_interval(clock, confidence=0.5, systematic=False)
        held.append(lag.start_s < truth < lag.end_s)

    assert 10 <= sum(held) <= 30  # 99.9 % of binomial(40, 0.5)


def test_a_drift_that_was_not_fitted_has_no_interval(walking):
    pair = walking.make_pair(np.random.default_rng(1), walking.PairSettings(time_cv=0.025))

    assert drift_interval(synchronise(*pair, drift=False)) is None
    fitted = synchronise(*pair)
    interval = drift_interval(fitted)
    assert interval.start_s < fitted.drift_ppm < interval.end_s
