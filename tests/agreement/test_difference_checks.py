import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import check_differences, regression_limits


def pairs(seed: int, n: int = 30, gain: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    reference = rng.uniform(20, 70, n)
    return gain * reference + rng.standard_normal(n), reference


@given(st.integers(0, 2**32 - 1))
def test_one_pair_each_has_the_slopes_of_the_regression_limits(seed):
    test, reference = pairs(seed)
    result, limits = check_differences(test, reference), regression_limits(test, reference)
    assert_allclose([result.trend, *result.trend_ci], [limits.slope, *limits.slope_ci])
    assert_allclose(result.spread_trend_ci, limits.spread_slope_ci)
    assert_allclose(result.normality_p, stats.shapiro(test - reference).pvalue)


def test_a_gain_shows_as_a_trend_and_points_to_regression():
    result = check_differences(*pairs(1, gain=1.2))
    assert_allclose(result.trend, 0.2 / 1.1, atol=0.03)  # slope of 0.2 r on 1.1 r
    assert "bias follows the size" in result.suggestion


def test_skewed_differences_point_to_percentiles():
    rng = np.random.default_rng(3)
    reference = rng.uniform(20, 70, 60)
    result = check_differences(reference + rng.exponential(size=60), reference)
    assert result.skewness > 1
    assert "percentile" in result.summary()


def test_plain_differences_point_to_nothing():
    result = check_differences(*pairs(5))
    assert result.suggestion.startswith("Nothing speaks against")
    assert np.isnan(result.serial_correlation)


def test_serial_correlation_of_cycles_is_found():
    rng = np.random.default_rng(6)
    people, reference = np.repeat(np.arange(6), 200), rng.uniform(20, 70, 1200)
    noise = rng.standard_normal(1200)
    for i in range(1, 1200):
        noise[i] += 0.5 * noise[i - 1]
    result = check_differences(reference + noise, reference, people)
    assert_allclose(result.serial_correlation, 0.5, atol=0.08)


def test_spread_of_participants_on_their_size():
    rng = np.random.default_rng(7)
    people, size = np.repeat(np.arange(12), 80), np.linspace(10, 60, 12)
    test = size[people] + 0.05 * size[people] * rng.standard_normal(960)
    result = check_differences(test, size[people], people)
    assert_allclose(result.spread_trend, 0.05, atol=0.01)
    assert "spread follows the size" in result.suggestion


def test_one_participant_is_refused():
    with pytest.raises(ValueError, match="need at least 2 of them"):
        check_differences([1, 2, 3], [1, 2, 4], ["a", "a", "a"])


def test_equal_sizes_have_no_trend():
    assert np.isnan(check_differences([1, 2, 3], [3, 2, 1]).trend)
