"""Intervals, at stated sizes, of a bias and of limits that follow the size."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import regression_limits
from twinangle.agreement._intervals import exact_limit_factors
from twinangle.agreement._size_bands import line_bands

seeds = st.integers(0, 2**32 - 1)
SIZES = (25.0, 41.5, 70.0)


def pairs(seed: int, n: int = 14) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    size = rng.uniform(25, 75, n)
    difference = 1 - 0.1 * size + rng.standard_normal(n)
    return size + difference / 2, size - difference / 2


@given(seeds)
def test_the_band_of_the_bias_is_that_of_statsmodels(seed):
    test, reference = pairs(seed)
    found = regression_limits(test, reference, constant_spread=True).intervals_at(SIZES)
    fit = sm.OLS(test - reference, sm.add_constant((test + reference) / 2)).fit()
    frame = fit.get_prediction(sm.add_constant(np.array(SIZES))).summary_frame(alpha=0.05)
    assert_allclose([one.bias for one in found], frame["mean"])
    assert_allclose(
        [one.bias_ci for one in found], frame[["mean_ci_lower", "mean_ci_upper"]].to_numpy()
    )


@given(seeds)
def test_a_limit_is_a_noncentral_t_with_the_error_of_statsmodels(seed):
    # scipy's noncentral t and statsmodels' standard error of the line at a size
    test, reference = pairs(seed)
    found = regression_limits(test, reference, constant_spread=True).intervals_at(SIZES)
    fit = sm.OLS(test - reference, sm.add_constant((test + reference) / 2)).fit()
    at = fit.get_prediction(sm.add_constant(np.array(SIZES)))
    about = stats.norm.ppf(0.975) * np.sqrt(fit.scale) / at.se_mean
    for share, end in ((0.025, 0), (0.975, 1)):
        bound = at.predicted_mean + stats.nct.ppf(share, fit.df_resid, about) * at.se_mean
        assert_allclose([one.upper_ci[end] for one in found], bound, rtol=1e-6)


def test_at_the_middle_size_they_are_carkeets_with_one_degree_of_freedom_less():
    # Carkeet (2015) on n pairs: noncentral t on n - 1 about z √n; the slope takes one more.
    test, reference = pairs(1)
    result = regression_limits(test, reference, constant_spread=True)
    (middle,) = result.intervals_at(result.sizes.mean())
    n, z = test.size, stats.norm.ppf(0.975)
    factors = stats.nct.ppf([0.025, 0.975], n - 2, z * np.sqrt(n)) / np.sqrt(n)
    assert_allclose(middle.upper_ci, middle.bias + factors * result.residual_sd, rtol=1e-6)
    assert np.all(np.abs(factors - exact_limit_factors(n)) < 0.2)


@given(seeds, st.booleans(), st.floats(0.1, 10), st.integers(4, 30))
def test_swapping_and_rescaling_the_instruments_moves_the_bounds_with_them(seed, fixed, scale, n):
    test, reference = pairs(seed, n)
    there = regression_limits(test, reference, constant_spread=fixed)
    back = regression_limits(scale * reference, scale * test, constant_spread=fixed)
    where = np.quantile(there.sizes, [0, 0.5, 1])
    pair = zip(there.intervals_at(where), back.intervals_at(scale * where), strict=True)
    for one, other in pair:
        assert_allclose(np.negative(other.bias_ci[::-1]) / scale, one.bias_ci, atol=1e-9)
        assert_allclose(np.negative(other.lower_ci[::-1]) / scale, one.upper_ci, rtol=1e-6)


@given(seeds, st.booleans(), st.integers(4, 40))
def test_bounds_are_in_order_and_a_limit_is_never_beyond_the_bias(seed, fixed, n):
    result = regression_limits(*pairs(seed, n), constant_spread=fixed)
    for one in result.intervals_at(np.linspace(20, 80, 9)):
        assert one.lower_ci[0] <= one.lower_ci[1] <= one.bias_ci[1] + 1e-9
        assert one.bias_ci[0] - 1e-9 <= one.upper_ci[0] <= one.upper_ci[1]
        assert one.bias_ci[0] < one.bias < one.bias_ci[1]


@given(seeds)
def test_the_order_of_participants_is_irrelevant(seed):
    test, reference = pairs(seed)
    order = np.random.default_rng(seed).permutation(test.size)
    before = regression_limits(test, reference).intervals_at(SIZES)
    after = regression_limits(test[order], reference[order]).intervals_at(SIZES)
    assert_allclose([x.lower_ci for x in after], [x.lower_ci for x in before], rtol=1e-6)


def test_away_from_the_sizes_seen_a_line_knows_less():
    result = regression_limits(*pairs(2), constant_spread=True)
    near, far = result.intervals_at([result.sizes.mean(), 120.0])
    assert np.ptp(far.bias_ci) > 3 * np.ptp(near.bias_ci)
    assert np.ptp(far.upper_ci) > np.ptp(near.upper_ci)


def test_a_spread_that_few_people_cannot_show_has_no_outer_bound():
    rng = np.random.default_rng(3)
    size = np.array([20.0, 60, 61, 62, 63])
    difference = rng.standard_normal(5)
    ends = line_bands(
        size, difference, np.array([20.0]), constant_spread=False, confidence=0.95, coverage=0.95
    )
    assert ends["upper_ci_high"] == np.inf
    assert ends["lower_ci_low"] == -np.inf


def test_pairs_on_a_line_have_intervals_of_no_width():
    for fixed in (True, False):
        reference = np.arange(5.0)
        (found,) = regression_limits(2 * reference, reference, constant_spread=fixed).intervals_at(
            3
        )
        assert_allclose(found.bias_ci, 2.0)
        assert_allclose([*found.lower_ci, *found.upper_ci], 2.0)


@pytest.mark.parametrize("growth", [0.0, 0.015])
def test_intervals_hold_the_truth_in_simulation(growth):
    # 1000 studies of 20 people; 3 Monte Carlo standard errors are 2.1 points. The full table:
    # benchmarks/coverage.py --only "limits at a size".
    rng = np.random.default_rng(4)
    size = rng.uniform(25, 75, (1000, 20))
    spread = 1 + growth * (size - 50)
    difference = 1 - 0.1 * size + spread * rng.standard_normal(size.shape)
    where = np.array([50.0])
    ends = line_bands(
        size, difference, np.broadcast_to(where, (1000, 1)),
        constant_spread=growth == 0, confidence=0.95, coverage=0.95,
    )  # fmt: skip
    upper = 1 - 0.1 * where + stats.norm.ppf(0.975)
    held = (ends["upper_ci_low"] <= upper) & (upper <= ends["upper_ci_high"])
    assert 0.929 <= held.mean() <= 0.971


def test_a_size_that_is_missing_is_named():
    with pytest.raises(ValueError, match="`size` has 1 missing or infinite value"):
        regression_limits(*pairs(5)).intervals_at([30, np.nan])


def test_a_size_speaks():
    (one,) = regression_limits(*pairs(6)).intervals_at(50)
    assert one.summary("°").startswith("At a size of 50.00° the bias was")
    assert "14 pairs" in one.summary("°")
    assert one.to_frame().loc[0, "upper_ci_high"] == one.upper_ci[1]
