"""NIST Statistical Reference Datasets, Norris: certified straight-line fit."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import special

from twinangle.agreement import regression_limits

DATA = Path(__file__).resolve().parents[2] / "../shared/data/nist-strd/Norris.dat"


def test_line_of_differences_on_sizes_agrees_with_the_certified_values():
    if not DATA.exists():
        pytest.skip("../shared/data/nist-strd is absent")
    y, x = np.loadtxt(DATA, skiprows=60, unpack=True)
    line = regression_limits(x + y / 2, x - y / 2)  # differences y of sizes x
    assert_allclose(line.intercept, -0.262323073774029, rtol=1e-9)
    assert_allclose(line.slope, 1.00211681802045, rtol=1e-12)
    assert_allclose(line.residual_sd, 0.884796396144373, rtol=1e-9)
    t = special.stdtrit(x.size - 2, 0.975)
    assert_allclose(np.ptp(line.intercept_ci) / 2, t * 0.232818234301152, rtol=1e-9)
    assert_allclose(np.ptp(line.slope_ci) / 2, t * 0.429796848199937e-03, rtol=1e-9)
