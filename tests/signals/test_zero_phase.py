"""The filter both ways against scipy's ``sosfiltfilt``, and the spline against ``CubicSpline``."""

from __future__ import annotations

import numpy as np
import pytest
import scipy
from scipy.interpolate import CubicSpline

from twinangle.clocks.band import BandLimited
from twinangle.signals.zero_phase import both_ways, butterworth


@pytest.mark.parametrize(("order", "cutoff", "rate"), [(2, 12.0, 100.0), (4, 10.0, 1000.0)])
@pytest.mark.parametrize("shape", [(60,), (500, 3)])
@pytest.mark.parametrize("padding", [None, 0, 40])
def test_it_is_scipys_filter_to_the_last_bit(order, cutoff, rate, shape, padding):
    values = np.random.default_rng(3).normal(size=shape)
    sections = scipy.signal.butter(order, cutoff, fs=rate, output="sos")
    expected = scipy.signal.sosfiltfilt(sections, values, axis=0, padlen=padding)
    found = both_ways(butterworth(order, cutoff, rate), values, padding)
    np.testing.assert_array_equal(found, expected)


def test_too_few_samples_are_refused_with_the_number_that_is_needed():
    with pytest.raises(ValueError, match=r"more than 15 samples .* got 15"):
        both_ways(butterworth(4, 10.0, 100.0), np.zeros(15))


@pytest.mark.parametrize("n", [4, 5, 300])
def test_a_band_limited_angle_is_read_off_scipys_spline(n):
    rng = np.random.default_rng(n)
    values = rng.normal(size=n)
    time_s = np.sort(rng.uniform(0.0, (n - 1) / 50.0, 200))
    angle, rate = BandLimited(values, 0.0, 50.0, "invented").at(time_s)
    spline = CubicSpline(np.arange(n) / 50.0, values)
    np.testing.assert_allclose(angle, spline(time_s), rtol=0, atol=1e-12)
    np.testing.assert_allclose(rate, spline(time_s, 1), rtol=0, atol=1e-10)
