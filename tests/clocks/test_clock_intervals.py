"""Intervals of lag and drift."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.clocks import drift_interval, lag_interval, manual, shared_clock, synchronise
from twinangle.signals.recording import Synchronisation

CLOCK = Synchronisation(
    method="cross-correlation",
    lag_s=2.0,
    lag_se_s=0.004,
    drift_ppm=100.0,
    drift_se_ppm=10.0,
    lag_systematic_s=0.003,
    centre_s=50.0,
    centre_lag_se_s=0.004,
    centre_lag_df=10.0,
    drift_df=4.0,
)


def test_student_quantiles_at_the_middle_of_the_overlap():
    lag, drift = lag_interval(CLOCK, systematic=False), drift_interval(CLOCK)

    # t tables: 2.228 for 10 degrees of freedom, 2.776 for 4; 100 ppm over 50 s are 5 ms.
    assert_allclose([lag.start_s, lag.end_s], 2.005 + np.array([-1, 1]) * 2.228 * 0.004, atol=1e-5)
    assert_allclose([drift.start_s, drift.end_s], [72.24, 127.76], atol=0.01)


def test_systematic_part_is_added_in_quadrature():
    lag = lag_interval(CLOCK)

    assert_allclose(lag.end_s - lag.start_s, 2 * 2.228 * 0.005, rtol=1e-3)


def test_unknown_freedom_is_normal_and_no_error_no_interval():
    lag = lag_interval(replace(CLOCK, centre_lag_df=float("nan")), systematic=False)

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
    assert drift_interval(synchronise(*pair)) is not None
