"""Giavarina (2015), Biochem Med 25:141: 30 hypothetical pairs, also a pingouin dataset."""

from pathlib import Path

import pandas as pd
import pytest
from numpy.testing import assert_allclose

from twinangle.agreement import limits_of_agreement

TABLE = Path(__file__).resolve().parents[2] / "../shared/data/giavarina2015"


def test_bias_sd_and_limits():
    if not TABLE.exists():
        pytest.skip("../shared/data/giavarina2015 is absent")
    table = pd.read_csv(TABLE / "giavarina.csv")
    result = limits_of_agreement(table["A"] - table["B"])
    # The article's figures, from memory; recomputed from the table: -27.17, 34.81, -95.39, 41.05.
    assert_allclose([result.bias, result.sd], [-27.17, 34.81], atol=0.005)
    assert_allclose([result.lower, result.upper], [-95.39, 41.05], atol=0.005)
