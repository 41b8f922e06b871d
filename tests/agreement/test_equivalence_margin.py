import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import (
    deming_regression,
    equivalence_test,
    judge_limits,
    limits_of_agreement,
    limits_without_reference_error,
)
from twinangle.agreement.equivalence import inside_margin, outside_margin
from twinangle.agreement.simulated_studies import study_limits

seeds = st.integers(0, 2**32 - 1)


def pairs(seed: int, n: int = 18) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    reference = 3 * rng.standard_normal(n)
    return reference + 0.2 + rng.standard_normal(n), reference


@given(seeds, st.floats(0.5, 8), st.integers(1, 6), st.sampled_from([0.8, 0.95]))
def test_the_verdict_is_that_of_the_intervals_shown(seed, margin, cycles, confidence):
    rng = np.random.default_rng(seed)
    people = np.repeat(np.arange(8), cycles)
    difference = (
        rng.normal(0, 2) + rng.standard_normal(8)[people] + rng.standard_normal(people.size)
    )
    shown = limits_of_agreement(difference, people, confidence=confidence)
    result = equivalence_test(difference, margin, people, confidence=confidence)
    inside = -margin <= shown.lower_ci[0] and shown.upper_ci[1] <= margin
    outside = shown.lower_ci[1] < -margin or shown.upper_ci[0] > margin
    assert result.verdict == ("inside" if inside else "outside" if outside else "undecided")
    assert (result.lower_ci, result.upper_ci) == (shown.lower_ci, shown.upper_ci)
    assert judge_limits(shown, margin).verdict == result.verdict


@given(seeds)
def test_a_wider_margin_never_takes_a_claim_back(seed):
    difference = np.subtract(*pairs(seed))
    order = ["outside", "undecided", "inside"]
    margins = (0.2, 0.5, 1, 2, 3, 5, 10)
    claims = [equivalence_test(difference, m) for m in margins]
    assert (np.diff([order.index(c.verdict) for c in claims]) >= 0).all()
    assert [c.verdict == "inside" for c in claims] == [m >= claims[0].inside_from for m in margins]


def test_without_an_interval_nothing_is_decided():
    difference, people = (
        np.repeat([0.1, 0.2, 0.3], 5) + np.tile([0, 0.1, 0.2, 0.1, 0], 3),
        "aaaaabbbbbccccc",
    )
    few = equivalence_test(difference, 50.0, list(people))
    assert (few.verdict, np.isnan(few.inside_from)) == ("undecided", True)
    assert "3 participants" in few.reason
    alone = equivalence_test(difference, 50.0, ["a"] * 15)
    assert alone.verdict == "undecided"
    assert "other people" in alone.reason


def test_the_verdict_on_one_pair_each_is_the_exact_one_sided_bound():
    # Carkeet 2015, Shieh 2018: mean + k s with k from scipy's noncentral t, 97.5 % on each side.
    difference = np.subtract(*pairs(9, 20))
    factor = stats.nct.ppf(0.975, 19, stats.norm.ppf(0.975) * np.sqrt(20)) / np.sqrt(20)
    bound = abs(difference.mean()) + factor * difference.std(ddof=1)
    assert_allclose(equivalence_test(difference, 1.0).inside_from, bound, rtol=1e-9)


@pytest.mark.parametrize(
    ("people", "cycles", "differ", "most"),
    [
        (6, 1, 0.0, 2.5),
        (20, 1, 0.0, 2.5),
        (6, 20, 0.0, 3.5),
        (20, 20, 0.0, 3.5),
        (12, 20, 0.6, 8.0),
    ],
)
def test_size_at_the_margin(people, cycles, differ, most):
    # One limit at the margin, the other far from it; by the intersection-union principle (Berger
    # 1982) no other case of a limit at the margin is called inside more often.
    n, rng = 4000, np.random.default_rng(people + cycles)
    found, truth = studies_at_the_margin(rng, n, people, cycles, differ)
    # the other limit far inside: all that is left of the rule is one bound
    hits = int(np.count_nonzero(inside_margin(-truth, found.upper_high, truth)))
    assert stats.binomtest(hits, n, most / 100, alternative="greater").pvalue > 0.01, hits / n
    both = int(np.count_nonzero(inside_margin(found.lower_low, found.upper_high, truth)))
    assert both <= hits
    wrong = int(np.count_nonzero(outside_margin(found.lower_high, found.upper_low, truth)))
    assert stats.binomtest(wrong, n, 0.05, alternative="greater").pvalue > 0.01, wrong / n
    if cycles == 1:
        assert stats.binomtest(hits, n, 0.025).pvalue > 0.01, hits / n


def studies_at_the_margin(rng, n, people, cycles, differ):
    """Simulated studies, SD 1 between and within participants, and their true upper limit."""
    level = rng.standard_normal((people, n))
    if cycles == 1:
        return study_limits(level, np.zeros_like(level), 1, 0.95), stats.norm.ppf(0.975)
    own = np.exp(differ * rng.standard_normal((people, n)) - differ**2)
    means = level + own / np.sqrt(cycles) * rng.standard_normal((people, n))
    rest = own**2 * rng.chisquare(cycles - 1, (people, n)) / cycles
    return study_limits(means, rest, cycles, 0.95), stats.norm.ppf(0.975) * np.sqrt(2)


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
        (lambda: equivalence_test([1, 2, 3], 0), "`margin` must be above 0, got 0"),
        (lambda: equivalence_test([1, 2, 3], 1, confidence=1.4), "`confidence`"),
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
    for margin, word in ((0.3, "outside"), (3.0, "undecided"), (9.0, "inside")):
        result = equivalence_test(difference, margin)
        assert result.verdict == word
        assert word in result.summary("°")
        assert f"±{margin:.2f}°" in result.summary("°")
    assert "Deming" in deming_regression(*pairs(1), error_ratio=1).summary("°")
