import numpy as np
import pingouin
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.stats.weightstats import ttost_paired

from twinangle.agreement import (
    deming_regression,
    equivalence,
    limits_of_agreement,
    limits_without_reference_error,
    share_within,
)

seeds = st.integers(0, 2**32 - 1)


def pairs(seed: int, n: int = 18) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    reference = 3 * rng.standard_normal(n)
    return reference + 0.2 + rng.standard_normal(n), reference


@given(seeds, st.floats(0.1, 2))
def test_two_one_sided_tests_agree_with_statsmodels_and_pingouin(seed, margin):
    x, y = pairs(seed)
    result = equivalence(x - y, margin)
    p, lower, upper = ttost_paired(x, y, -margin, margin)
    assert_allclose([result.p_value, result.p_lower, result.p_upper], [p, lower[1], upper[1]])
    theirs = pingouin.tost(x, y, bound=margin, paired=True).iloc[0].filter(like="p").iloc[0]
    assert_allclose(result.p_value, theirs)


@given(seeds, st.floats(0.1, 2))
def test_rejection_and_inclusion_of_the_interval_are_one(seed, margin):
    result = equivalence(np.subtract(*pairs(seed)), margin)
    inside = -margin < result.bias_ci[0] and result.bias_ci[1] < margin
    assert inside == result.bias_equivalent
    assert not result.limits_equivalent or result.bias_equivalent


@given(seeds)
def test_a_wider_margin_never_takes_a_claim_back(seed):
    difference = np.subtract(*pairs(seed))
    claims = [equivalence(difference, m) for m in (0.2, 0.5, 1, 3, 10)]
    assert (np.diff([c.bias_equivalent for c in claims]) >= 0).all()
    assert (np.diff([c.p_value for c in claims]) <= 1e-12).all()
    shares = [share_within(difference, m).share for m in (0.2, 0.5, 1, 3, 10)]
    assert (np.diff(shares) >= 0).all()


def test_strides_are_not_people():
    difference, people = np.repeat([0.5, -0.4, 0.8, 0.1], 50), np.repeat(range(4), 50)
    result = equivalence(difference, 0.9, people)
    assert result.p_value == pytest.approx(
        stats.ttest_1samp([0.5, -0.4, 0.8, 0.1], 0.9, alternative="less").pvalue
    )


@given(seeds)
def test_share_interval_is_scipys_exact_one_for_one_pair_each(seed):
    difference = np.subtract(*pairs(seed))
    result = share_within(difference, 1.0)
    exact = stats.binomtest(result.n_within, result.n_observations).proportion_ci(0.95, "exact")
    assert_allclose(result.share_ci, [exact.low, exact.high])


def test_share_of_repeated_cycles_counts_participants():
    rng = np.random.default_rng(1)
    people = np.repeat(np.arange(8), 40)
    difference = 2 * rng.standard_normal(8)[people] + 0.3 * rng.standard_normal(320)
    result = share_within(difference, 1.5, people)
    assert 8 <= result.n_effective < 40
    assert result.share_ci[0] < result.share < result.share_ci[1]


def test_taking_out_no_error_leaves_the_limits():
    difference = np.subtract(*pairs(2))
    plain, taken = limits_of_agreement(difference), limits_without_reference_error(difference, 0)
    assert_allclose([taken.lower, taken.upper], [plain.lower, plain.upper])


def test_reference_error_is_taken_out_of_the_variance():
    rng = np.random.default_rng(3)
    difference = np.hypot(1.0, 2.0) * rng.standard_normal(50_000)
    result = limits_without_reference_error(difference, 2.0)
    assert_allclose(result.sd, 1.0, atol=0.05)
    assert result.upper_ci[0] < result.upper < result.upper_ci[1]
    assert "taken out" in " ".join(result.summary("°").split())


def test_reference_error_larger_than_all_differences_is_undefined():
    result = limits_without_reference_error(np.subtract(*pairs(4)), 50.0)
    assert np.isnan([result.sd, result.lower, *result.lower_ci]).all()
    assert "not defined" in result.summary("°")


@given(seeds)
def test_deming_with_equal_errors_is_the_principal_axis(seed):
    x, y = pairs(seed)  # numpy's singular vectors give the orthogonal line
    centred = np.column_stack([y - y.mean(), x - x.mean()])
    axis = np.linalg.svd(centred)[2][0]
    assert_allclose(deming_regression(x, y, error_ratio=1).slope, axis[1] / axis[0])


@given(seeds, st.floats(0.2, 5))
def test_deming_swaps_with_its_ratio(seed, ratio):
    x, y = pairs(seed)
    there, back = (
        deming_regression(x, y, error_ratio=ratio),
        deming_regression(y, x, error_ratio=1 / ratio),
    )
    assert_allclose(there.slope, 1 / back.slope)


def test_deming_tends_to_least_squares_when_the_reference_is_perfect():
    x, y = pairs(6)
    line = stats.linregress(y, x)
    assert_allclose(deming_regression(x, y, error_ratio=1e9).slope, line.slope, rtol=1e-6)


def test_deming_is_unbiased_where_least_squares_is_not():
    rng = np.random.default_rng(7)
    truth = rng.standard_normal(400)
    x, y = 1.2 * truth + 0.5 * rng.standard_normal(400), truth + 0.5 * rng.standard_normal(400)
    result = deming_regression(x, y, error_ratio=1)
    assert result.slope_ci[0] < 1.2 < result.slope_ci[1]
    assert stats.linregress(y, x).slope < 1.05


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: equivalence([1, 2, 3], 0), "`margin` must be above 0, got 0"),
        (lambda: share_within([1, 2, 3], -1), "`margin`"),
        (lambda: equivalence([1, 2, 3], 1, confidence=0.4), "above 0.5"),
        (lambda: equivalence([1, 2], 1, ["a", "a"]), "at least 2 participants"),
        (lambda: limits_without_reference_error([1, 2, 3], -1), "`reference_sd`"),
        (lambda: deming_regression([1, 2, 3, 4], [1, 2, 3, 5], error_ratio=0), "`error_ratio`"),
        (lambda: deming_regression([1, 1, 2, 2], [1, 2, 1, 2], error_ratio=1), "not correlated"),
    ],
)
def test_bad_margins_are_named(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_summaries_name_the_margin():
    difference = np.subtract(*pairs(1))
    assert "margin of 1.00°" in equivalence(difference, 1).summary("°")
    assert "within 1.00°" in share_within(difference, 1).summary("°")
    assert "Deming" in deming_regression(*pairs(1), error_ratio=1).summary("°")
