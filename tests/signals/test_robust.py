"""The robust SD against scipy and against what it is for."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import median_abs_deviation

from twinangle.signals.robust import robust_sd


@pytest.mark.parametrize("n", [1, 2, 7, 100])
def test_the_library_has_the_same_about_the_median(n):
    values = np.random.default_rng(n).normal(3.0, 2.0, n)

    # scipy's constant has further digits: 1/Φ⁻¹(3/4) = 1.482602…
    assert robust_sd(values) == pytest.approx(
        median_abs_deviation(values, scale="normal"), rel=3e-6
    )


def test_about_a_given_value_an_offset_counts():
    values = np.random.default_rng(1).normal(size=20_001)

    assert robust_sd(values) == pytest.approx(1.0, abs=0.03)
    assert robust_sd(values + 10.0) == pytest.approx(robust_sd(values), rel=1e-9)
    assert robust_sd(values + 10.0, 0.0) == pytest.approx(14.826, rel=0.01)


def test_a_tenth_of_wild_values_moves_it_little():
    values = np.random.default_rng(2).normal(size=2_000)
    wild = values.copy()
    wild[:200] = 1e6

    assert robust_sd(wild) < 1.3 * robust_sd(values)
    assert wild.std() > 1e5
