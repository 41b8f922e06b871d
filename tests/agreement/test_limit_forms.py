import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import (
    limits_of_agreement,
    mixed_model_limits,
    percentile_limits,
    ratio_limits,
    regression_limits,
)

seeds = st.integers(0, 2**32 - 1)


@given(seeds)
def test_regression_slope_and_interval_agree_with_scipy(seed):
    rng = np.random.default_rng(seed)
    reference = rng.uniform(10, 60, 25)
    test = 1.1 * reference + rng.standard_normal(25)
    line = stats.linregress((test + reference) / 2, test - reference)
    result = regression_limits(test, reference)
    assert_allclose([result.slope, result.intercept], [line.slope, line.intercept])
    half = stats.t.ppf(0.975, 23) * line.stderr
    assert_allclose(result.slope_ci, [line.slope - half, line.slope + half])


def test_spread_that_grows_with_size_is_found():
    rng = np.random.default_rng(2)
    size = rng.uniform(1, 10, 20_000)
    result = regression_limits(size + 0.1 * size * rng.standard_normal(size.size) / 2, size)
    assert_allclose(result.spread_slope, 0.05, atol=0.003)
    bias, lower, upper = result.at([2.0, 8.0])
    assert_allclose((upper - bias) / 1.959964, [0.1, 0.4], atol=0.02)
    assert_allclose(bias - lower, upper - bias)


@given(seeds, st.floats(0.1, 10))
def test_ratio_limits_ignore_a_common_unit(seed, scale):
    rng = np.random.default_rng(seed)
    test, reference = rng.uniform(1, 5, (2, 12))
    before, after = ratio_limits(test, reference), ratio_limits(scale * test, scale * reference)
    assert_allclose(after.upper_ci, before.upper_ci)
    swapped = ratio_limits(reference, test)
    assert_allclose([swapped.lower, swapped.upper], [1 / before.upper, 1 / before.lower])


def test_percentile_interval_is_the_order_statistic_one():
    # Conover (1999) 3.2; scipy.stats.quantile_test takes the same ranks.
    values = np.random.default_rng(3).exponential(size=150)
    result = percentile_limits(values)
    found = stats.quantile_test(values, p=0.975).confidence_interval(0.95)
    assert_allclose(result.upper_ci, [found.low, found.high])
    middle = stats.quantile_test(values, p=0.5).confidence_interval(0.95)
    assert_allclose(result.median_ci, [middle.low, middle.high])


def test_small_sample_does_not_bound_a_percentile():
    result = percentile_limits(np.arange(20.0))
    assert result.lower_ci[0] == -np.inf
    assert result.upper_ci[1] == np.inf


def test_copies_of_cycles_do_not_narrow_percentile_intervals():
    rng = np.random.default_rng(4)
    values = rng.standard_normal(200) + np.repeat(2 * rng.standard_normal(20), 10)
    people = np.repeat(np.arange(20), 10)
    once = percentile_limits(values, people)
    many = percentile_limits(np.tile(values, 5), np.tile(people, 5))
    assert many.n_effective <= once.n_effective + 1e-9
    assert np.diff(many.median_ci) >= np.diff(once.median_ci)


def test_mixed_model_is_analysis_of_variance_when_balanced():
    # Balanced data, between variance above 0: REML equals the one-way components.
    rng = np.random.default_rng(7)
    people = np.repeat(np.arange(9), 6)
    x = 2 * rng.standard_normal(9)[people] + rng.standard_normal(54)
    mixed = mixed_model_limits(x, people)
    anova = limits_of_agreement(x, people, form="analysis-of-variance")
    assert_allclose(mixed.variance_between, anova.sd_between**2, rtol=1e-4)
    assert_allclose(mixed.variance_within, anova.sd_within**2, rtol=1e-4)
    assert_allclose(mixed.bias_ci, anova.bias_ci, rtol=1e-6)
    assert_allclose([mixed.lower, mixed.upper], [anova.lower, anova.upper], rtol=1e-4)


def test_sessions_within_participants_are_a_level_of_their_own():
    rng = np.random.default_rng(8)
    people, session = np.repeat(np.arange(30), 12), np.tile(np.repeat([0, 1, 2], 4), 30)
    x = (
        rng.standard_normal(30)[people]
        + 2 * rng.standard_normal(90)[people * 3 + session]
        + 0.5 * rng.standard_normal(360)
    )
    result = mixed_model_limits(x, people, session)
    assert result.n_nested == 90
    assert_allclose(result.variance_nested, 4, rtol=0.5)
    assert_allclose(result.variance_within, 0.25, rtol=0.3)
    assert "Mixed model" in result.summary("°")


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: regression_limits([1, 2, 3], [1, 2, 3]), "at least 4"),
        (lambda: regression_limits([1, 2, 1, 2], [2, 1, 2, 1]), "no line to fit"),
        (lambda: ratio_limits([1, 0], [1, 2]), "`test` is 0 at index 1"),
        (lambda: percentile_limits([1, 2], ["a", "a"]), "at least 2 participants"),
        (lambda: mixed_model_limits([1, 2, 3], [1, 1, 1]), "a mixed model needs 2 participants"),
        (lambda: mixed_model_limits([1, 2, 3], [1, 1, 2], [1]), "3 values and `nested` 1"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_every_form_speaks():
    rng = np.random.default_rng(9)
    x = 5 + rng.uniform(0, 1, 12)
    for result in (
        regression_limits(x, x + rng.uniform(0, 1, 12)),
        ratio_limits(x, x[::-1]),
        percentile_limits(x),
    ):
        assert "12" in result.summary("°") or "6 participants" in result.summary("°")
        assert result.assumptions
        assert len(result.to_frame()) == 1
