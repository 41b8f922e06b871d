"""Zou (2013), Stat Methods Med Res 22:630: MOVER (formula from memory, values computed)."""

from pathlib import Path

import pandas as pd
import pytest
from numpy.testing import assert_allclose

from twinangle.agreement import limits_of_agreement

TABLE = Path(__file__).resolve().parents[2] / "../shared/data/ba1999-cardiac-output"


def test_cardiac_output_limits_and_their_mover_intervals():
    if not TABLE.exists():
        pytest.skip("../shared/data/ba1999-cardiac-output is absent")
    table = pd.read_csv(TABLE / "cardiac_output.csv")
    result = limits_of_agreement(table["RV"] - table["IC"], table["subject"], form="pooled-within")
    assert_allclose(result.sd, 1.023525, atol=5e-7)
    assert_allclose([result.lower, result.upper], [-1.29687, 2.71534], atol=4e-5)  # with z = 1.96
    assert_allclose(result.lower_ci, [-2.6905, -0.5109], atol=6e-5)
    assert_allclose(result.upper_ci, [1.9294, 4.1090], atol=6e-5)
