"""Skin that moves in swing looks like a delay: the lag's interval holds the truth nevertheless."""

from dataclasses import replace

import numpy as np
import pytest

from twinangle.clocks import lag_interval, synchronise

LAG_S = 3.217


def with_skin(walking, height_deg):
    """Two angles of one walk; the wearable's has a bump sin² over 60 to 96 % of the stride."""
    settings = walking.PairSettings(
        lag_s=LAG_S, drift_ppm=0.0, overlap_s=30.0, slow_drift_deg=0.3, stride_error_deg=0.3
    )
    wearable, reference = walking.make_pair(np.random.default_rng(3), settings)
    drawn = np.random.default_rng(3)  # the same walk once more, for its phase
    length = settings.lag_s + settings.overlap_s
    walk = walking.steady_walk(
        drawn, -1.0, settings.lag_s + settings.overlap_s + settings.extra_s + 1, time_cv=0.015
    )
    assert length == pytest.approx(wearable.time_s[-1], abs=0.02)
    within = (walk.phase(wearable.time_s) % 1 - 0.60) / 0.36
    bump = np.where((within > 0) & (within < 1), np.sin(np.pi * within) ** 2, 0.0)
    return replace(wearable, angle_deg=wearable.angle_deg + height_deg * bump), reference


@pytest.fixture(scope="module")
def clocks(walking):
    return {height: synchronise(*with_skin(walking, height)) for height in (-3.0, 0.0, 3.0)}


def off(clock):
    return clock.lag_s + clock.centre_s * clock.drift_ppm * 1e-6 - LAG_S


@pytest.mark.parametrize("height_deg", [-3.0, 3.0])
def test_a_bump_in_swing_is_taken_for_a_delay_and_the_interval_says_so(clocks, height_deg):
    clock = clocks[height_deg]
    interval = lag_interval(clock)
    # about 1 ms a degree, its sign the bump's (benchmarks/lag_under_soft_tissue.py)
    assert off(clock) * np.sign(height_deg) == pytest.approx(3e-3, abs=0.7e-3)
    assert interval.start_s <= LAG_S <= interval.end_s


def test_without_one_the_interval_stays_narrow(clocks):
    assert abs(off(clocks[0.0])) < 0.2e-3
    assert clocks[0.0].centre_lag_se_s < 0.5e-3
