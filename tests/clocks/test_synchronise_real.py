"""Real recordings, shifted and stretched by a known amount.

The knee of Fan et al. (2021) and the electrogoniometer of Sanchez & Sotelo (2014).
"""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import CubicSpline

from twinangle.clocks import align, synchronise
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording

DATA = Path(__file__).resolve().parents[2] / "../shared/data"


def stretched(angle, rate_hz, lag_s, drift_ppm, out_hz, span):
    """Sample an angle on another clock: at reference time t it reads angle(t (1 + d) + lag)."""
    spline = CubicSpline(np.arange(angle.size) / rate_hz, angle)
    time = np.arange(span[0] * out_hz, span[1] * out_hz) / out_hz
    return AngleRecording(
        spline(time * (1 + drift_ppm * 1e-6) + lag_s), float(time[0]), out_hz, "copy"
    )


def test_knee_in_jumps_shifted_and_stretched():
    folder = DATA / "knee-jump-left"
    if not folder.exists():
        pytest.skip("../shared/data/knee-jump-left is absent")
    table = np.genfromtxt(folder / "left_knee_optical.csv", delimiter=",", skip_header=1)
    angle = -table[:, 1]
    rng = np.random.default_rng(5)
    wearable = AngleRecording(angle + 0.3 * rng.standard_normal(angle.size), 0.0, 100.0, "knee")
    reference = stretched(angle, 100.0, 4.321, 85.0, 150.0, (0.0, 60.0))

    clock = synchronise(wearable, reference)

    assert_allclose(clock.lag_s, 4.321, atol=0.0005)
    assert_allclose(clock.drift_ppm, 85, atol=8)
    paired = align(wearable, reference, clock)
    assert np.nanstd(paired.wearable_deg - paired.reference_deg) < 0.35


def goniometer(name):
    """Return a walk, noisy at 100 Hz, and the same at 1000 Hz, 1.234 s earlier."""
    path = DATA / "goniometer-gait-22" / f"{name}.csv"
    if not path.exists():
        pytest.skip("../shared/data/goniometer-gait-22 is absent")
    angle = np.genfromtxt(path, delimiter=",", skip_header=1).ravel()
    rng = np.random.default_rng(6)
    noisy = angle[::10] + 0.5 * rng.standard_normal(angle[::10].size)
    wearable = AngleRecording(noisy, 0.0, 100.0, "goniometer and noise")
    return wearable, stretched(angle, 1000.0, 1.234, 0.0, 1000.0, (0.0, angle.size / 1000 - 1.3))


@pytest.mark.parametrize("number", ["03", "04", "05", "09", "10"])
def test_real_walk_of_many_strides_against_itself(number):
    wearable, reference = goniometer(f"knee_disorder_{number}")

    clock = synchronise(wearable, reference, drift=False)

    assert_allclose(clock.lag_s, 1.234, atol=0.001)
    assert clock.evidence > 7


@pytest.mark.parametrize("name", ["healthy_05", "healthy_11"])
def test_real_walk_of_five_strides_needs_the_lag_to_be_roughly_known(name):
    wearable, reference = goniometer(name)

    with pytest.raises(SynchronisationError, match=r"only \d cycles to tell by"):
        synchronise(wearable, reference, drift=False, min_overlap_s=2.0)

    clock = synchronise(wearable, reference, drift=False, expected_lag_s=1.0, max_lag_s=0.5)

    assert_allclose(clock.lag_s, 1.234, atol=0.001)
    assert np.isnan(clock.evidence)
