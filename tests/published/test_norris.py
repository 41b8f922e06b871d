"""NIST Statistical Reference Datasets, Norris: one instrument calibrated against another.

Kinds: printed, in the header of the data file itself.
"""

from pathlib import Path

import numpy as np
import pytest

from twinangle.agreement import fit_line
from twinangle.signals.straight_line import fit_calibration

DATA = Path(__file__).resolve().parents[2] / "reference_data/nist_norris.dat"


@pytest.fixture(scope="module")
def points():
    y, x = np.loadtxt(DATA, skiprows=60, unpack=True)
    return x, y


def test_line_agrees_with_the_certified_values(points, published):
    line = fit_line(*points)

    def near(ours, name, digits):
        known = published("nist-strd", name).value
        assert ours == pytest.approx(known, rel=10.0**-digits)

    # Double precision keeps so many of the certified digits (condition of the fit).
    near(line.intercept, "intercept", 10)
    near(line.slope, "slope", 13)
    near(line.residual_sd, "residual sd", 11)
    near(line.r_squared, "r squared", 14)
    near(line.intercept_se, "intercept se", 11)
    near(line.slope_se, "slope se", 11)


def test_calibration_finds_the_certified_line(points, published):
    fitted = fit_calibration(*points)

    assert fitted.n_points == 36
    assert fitted.gain == pytest.approx(published("nist-strd", "slope").value, rel=1e-12)
    assert fitted.offset == pytest.approx(published("nist-strd", "intercept").value, rel=1e-10)
    residual = published("nist-strd", "residual sd").value
    assert fitted.residual_sd_deg == pytest.approx(residual, rel=1e-12)
