"""NIST Statistical Reference Datasets, Norris: certified straight-line fit."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.agreement import fit_line

DATA = Path(__file__).resolve().parents[2] / "../shared/data/nist-strd/Norris.dat"


def test_line_agrees_with_the_certified_values():
    if not DATA.exists():
        pytest.skip("../shared/data/nist-strd is absent")
    y, x = np.loadtxt(DATA, skiprows=60, unpack=True)
    line = fit_line(x, y)
    assert_allclose(line.intercept, -0.262323073774029, rtol=1e-10)
    assert_allclose(line.slope, 1.00211681802045, rtol=1e-13)
    assert_allclose(line.residual_sd, 0.884796396144373, rtol=1e-11)
    assert_allclose(line.r_squared, 0.999993745883712, rtol=1e-14)
    assert_allclose(line.intercept_se, 0.232818234301152, rtol=1e-11)
    assert_allclose(line.slope_se, 0.429796848199937e-03, rtol=1e-11)
