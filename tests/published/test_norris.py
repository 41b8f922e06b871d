"""NIST Statistical Reference Datasets, Norris: one instrument calibrated against another.

Kinds: printed, in the header of the data file itself.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy import special

from twinangle.agreement import regression_limits
from twinangle.signals.straight_line import fit_calibration

DATA = Path(__file__).resolve().parents[2] / "reference_data/nist_norris.dat"


@pytest.fixture(scope="module")
def points():
    y, x = np.loadtxt(DATA, skiprows=60, unpack=True)
    return x, y


def test_line_of_differences_on_sizes_agrees_with_the_certified_values(points, published):
    x, y = points
    line = regression_limits(x + y / 2, x - y / 2)  # differences y of sizes x
    t = special.stdtrit(x.size - 2, 0.975)

    def near(ours, name, digits):
        known = published("nist-strd", name).value
        assert ours == pytest.approx(known, rel=10.0**-digits)

    # Double precision keeps so many of the certified digits (condition of the fit).
    near(line.intercept, "intercept", 9)
    near(line.slope, "slope", 12)
    near(line.residual_sd, "residual sd", 9)
    near(np.ptp(line.intercept_ci) / 2 / t, "intercept se", 9)
    near(np.ptp(line.slope_ci) / 2 / t, "slope se", 9)


def test_calibration_finds_the_certified_line(points, published):
    fitted = fit_calibration(*points)

    assert fitted.n_points == 36
    assert fitted.gain == pytest.approx(published("nist-strd", "slope").value, rel=1e-12)
    assert fitted.offset == pytest.approx(published("nist-strd", "intercept").value, rel=1e-10)
    residual = published("nist-strd", "residual sd").value
    assert fitted.residual_sd_deg == pytest.approx(residual, rel=1e-12)
