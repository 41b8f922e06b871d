"""Skin that moves in swing looks like a delay: the lag's interval holds the truth nevertheless."""

from dataclasses import replace

import numpy as np
import pytest

from twinangle.clocks import lag_interval, synchronise
from twinangle.clocks.clockfit import _hidden_in_range

LAG_S = 3.217


def with_skin(walking, height_deg, gain=1.0):
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
    return replace(wearable, angle_deg=gain * wearable.angle_deg + height_deg * bump), reference


@pytest.fixture(scope="module")
def clocks(walking):
    kinds = ((-3.0, 1.0), (0.0, 1.0), (3.0, 1.0), (0.0, 1.05), (3.0, 0.95))
    return {kind: synchronise(*with_skin(walking, *kind)) for kind in kinds}


def off(clock):
    return clock.lag_s + clock.centre_s * clock.drift_ppm * 1e-6 - LAG_S


@pytest.mark.parametrize(("height_deg", "gain"), [(-3.0, 1.0), (3.0, 1.0), (3.0, 0.95)])
def test_a_bump_in_swing_is_taken_for_a_delay_and_the_interval_says_so(clocks, height_deg, gain):
    """Where the wearable's smaller range hides the bump's own, too: no lag was held there."""
    clock = clocks[height_deg, gain]
    interval = lag_interval(clock)
    # about 1 ms a degree, its sign the bump's (benchmarks/lag_under_soft_tissue.py)
    assert off(clock) * np.sign(height_deg) == pytest.approx(3e-3, abs=0.7e-3)
    assert interval.start_s <= LAG_S <= interval.end_s


@pytest.mark.parametrize("gain", [1.0, 1.05])
def test_without_one_the_interval_stays_narrow(clocks, gain):
    """A range alone moves no lag: its 5 % were taken for 3 ms."""
    assert abs(off(clocks[0.0, gain])) < 0.2e-3
    assert clocks[0.0, gain].centre_lag_se_s < 0.7e-3


def test_what_hides_in_a_range_is_the_mean_of_its_squares_by_integration():
    """The two normal laws of the docstring multiplied point by point, no closed form."""
    like, own, seen = 3.0 * 0.4, 0.03 * 20.0, 0.05 * 20.0
    hidden = np.linspace(-12, 12, 200_001)
    weight = np.exp(-0.5 * (hidden / like) ** 2 - 0.5 * ((seen - hidden) / own) ** 2)
    expected = np.sqrt((weight * hidden**2).sum() / weight.sum())
    assert _hidden_in_range(0.05, 0.4, 20.0) == pytest.approx(expected, rel=1e-9)
    assert _hidden_in_range(0.05, 0.0, 20.0) == 0.0
