"""NIST Statistical Reference Datasets, Norris: calibration of one instrument against another.

Certified values from the header of Norris.dat: offset (B0) -0.262323073774029, gain (B1)
1.00211681802045, residual standard deviation 0.884796396144373.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from twinangle.signals.straight_line import fit_calibration

DATA = Path(__file__).resolve().parents[2] / "../shared/data/nist-strd/Norris.dat"


def test_the_certified_line_is_found():
    if not DATA.is_file():
        pytest.skip("../shared/data/nist-strd is absent")
    lines = DATA.read_text().splitlines()[60:]
    y, x = np.array([line.split() for line in lines if line.strip()], dtype=float).T

    fitted = fit_calibration(x, y)

    assert fitted.n_points == 36
    assert fitted.gain == pytest.approx(1.00211681802045, rel=1e-12)
    assert fitted.offset == pytest.approx(-0.262323073774029, rel=1e-10)
    assert fitted.residual_sd_deg == pytest.approx(0.884796396144373, rel=1e-12)
