"""Carkeet (2015), Optom Vis Sci 92:e71, and the NIST/SEMATECH handbook 7.2.6.3."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement._intervals import exact_limit_factors, exact_pair_factors

TABLE = Path(__file__).resolve().parents[2] / "reference_data/limit_factors_carkeet_2015.csv"
FACTORS = pd.read_csv(TABLE, index_col="n")


@pytest.mark.parametrize("n", FACTORS.index)
def test_factors_of_one_limit(n):
    assert_allclose(exact_limit_factors(n), FACTORS.loc[n], atol=5e-5)


@pytest.mark.parametrize(("n", "factor"), [(10, 2.911), (20, 2.396), (30, 2.220)])
def test_one_sided_tolerance_factor_printed_by_nist(n, factor):
    # 95 % confidence that 95 % lie below: z = 1.645, which is coverage 0.90 two-sided.
    outer = exact_limit_factors(n, confidence=0.90, coverage=0.90)[1]
    assert_allclose(outer, factor, atol=1e-3)  # the printed ones are from an approximation


@pytest.mark.parametrize("n", [5, 17])
def test_pair_factors_hold_both_limits_in_simulation(n):
    rng = np.random.default_rng(1)
    mean = rng.standard_normal(200_000) / np.sqrt(n)
    sd = np.sqrt(rng.chisquare(n - 1, mean.size) / (n - 1))
    inner, outer = exact_pair_factors(n)
    z = stats.norm.ppf(0.975)
    inside = (mean - outer * sd < -z) & (mean + outer * sd > z)
    outside = (mean - inner * sd > -z) & (mean + inner * sd < z)
    assert_allclose([inside.mean(), outside.mean()], 0.975, atol=0.0015)  # 4 standard errors
