"""Test and retest over sessions: error of measurement, its intervals, and planning for it."""

import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from twinangle.agreement import (
    intraclass_correlations,
    measurement_error,
    participants_for_sem,
)
from twinangle.agreement.retest import _sum_interval

seeds = st.integers(0, 2**32 - 1)


def table(seed, n=9, k=3, shift=0.0):
    rng = np.random.default_rng(seed)
    columns = shift * rng.standard_normal(k)
    return 3 * rng.standard_normal((n, 1)) + columns + rng.standard_normal((n, k))


def long(scores):
    return pd.DataFrame(scores).melt(ignore_index=False).reset_index()


def values_of(error):
    names = ("sem", "sem_ci", "sem_agreement", "sem_agreement_ci", "mdc", "mdc_agreement_ci")
    return np.hstack([getattr(error, name) for name in names])


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # pingouin's own
@pytest.mark.parametrize("shape", [(6, 2), (12, 3), (20, 4)])
def test_forms_and_their_intervals_are_pingouins(shape):
    scores = table(5, *shape, shift=1.0)
    found = pingouin.intraclass_corr(
        long(scores), targets="index", raters="variable", ratings="value"
    )
    interval = next(name for name in found.columns if name.startswith("CI95"))
    for one, value, ends in zip(
        intraclass_correlations(scores), found["ICC"], found[interval], strict=True
    ):
        assert_allclose(one.value, value, rtol=1e-9)
        assert_allclose(one.value_ci, ends, atol=0.0051)  # pingouin rounds to two decimals


def test_error_with_the_shift_is_statsmodels_mean_square_within_people():
    scores = table(8, 10, 3, shift=2.0)
    one_way = anova_lm(ols("value ~ C(index)", long(scores)).fit())
    found = measurement_error(scores)
    assert found.sem_agreement > found.sem
    assert_allclose(found.sem_agreement**2, one_way.loc["Residual", "mean_sq"])
    assert_allclose(found.mdc_agreement, stats.norm.ppf(0.975) * 2**0.5 * found.sem_agreement)


def test_of_a_single_mean_square_the_interval_is_the_exact_one():
    # modified large sample limits of one term are those of chi-squared
    square, df = 1.7, 11
    expected = [np.sqrt(square * df / stats.chi2.ppf(p, df)) for p in (0.975, 0.025)]
    assert_allclose(_sum_interval(((square, df),), 0.975), expected)


@given(seeds, st.floats(-50, 50))
def test_a_constant_on_one_session_moves_only_what_is_systematic(seed, constant):
    before, after = table(seed), table(seed)
    after[:, 1] += constant
    one, other = measurement_error(before), measurement_error(after)
    assert_allclose([one.sem, *one.sem_ci, *one.mdc_ci], [other.sem, *other.sem_ci, *other.mdc_ci])
    if abs(constant) > 10:
        assert other.sem_agreement > one.sem_agreement


@pytest.mark.parametrize(("n", "k", "level"), [(3, 2, 0.95), (12, 2, 0.9), (8, 4, 0.95)])
def test_the_shift_is_scipys_paired_t(n, k, level):
    scores = table(4, n, k, shift=1.0)
    paired = stats.ttest_rel(scores[:, -1], scores[:, 0])
    found = measurement_error(scores, confidence=level)
    assert_allclose(found.shift, (scores[:, -1] - scores[:, 0]).mean())
    assert_allclose(found.shift_ci, paired.confidence_interval(level), rtol=1e-9)


def test_two_people_have_a_shift_and_no_interval_of_it():
    found = measurement_error(table(4, 2, 2))
    assert np.isfinite(found.shift)
    assert np.isnan(found.shift_ci).all()


@given(seeds, st.floats(-50, 50))
def test_a_constant_on_the_last_session_moves_the_shift_by_it(seed, constant):
    before, after = table(seed), table(seed)
    after[:, -1] += constant
    one, other = measurement_error(before), measurement_error(after)
    assert_allclose(other.shift - one.shift, constant, atol=1e-9)
    assert_allclose(np.ptp(other.shift_ci), np.ptp(one.shift_ci), rtol=1e-6)
    turned = measurement_error(after[:, ::-1])
    assert_allclose(
        [turned.shift, *turned.shift_ci],
        [-other.shift, *-np.array(other.shift_ci[::-1])],
        rtol=1e-6,
        atol=1e-9,
    )


@given(seeds)
def test_the_order_of_sessions_and_of_people_says_nothing(seed):
    rng, scores = np.random.default_rng(seed), table(seed)
    turned = scores[rng.permutation(9)][:, rng.permutation(3)]
    assert_allclose(
        values_of(measurement_error(turned)), values_of(measurement_error(scores)), rtol=1e-6
    )
    for one, other in zip(
        intraclass_correlations(turned), intraclass_correlations(scores), strict=True
    ):
        assert_allclose([one.value, *one.value_ci], [other.value, *other.value_ci], rtol=1e-6)


@given(seeds)
def test_what_people_differ_by_is_no_error(seed):
    scores = table(seed)
    apart = scores + 10 * np.arange(9)[:, None]
    assert_allclose(
        values_of(measurement_error(apart)), values_of(measurement_error(scores)), rtol=1e-6
    )


@given(seeds, st.floats(0.1, 20))
def test_errors_have_the_values_unit(seed, scale):
    found = values_of(measurement_error(scale * table(seed)))
    assert_allclose(found, scale * values_of(measurement_error(table(seed))), rtol=1e-6)


def test_two_sessions_leave_the_shift_nearly_unknown():
    # One degree of freedom: without a shift the upper end must still be far up.
    two, five = (measurement_error(table(3, 12, k)) for k in (2, 5))
    assert two.sem_agreement_ci[1] > 3 * two.sem_ci[1]
    assert five.sem_agreement_ci[1] < 2 * five.sem_ci[1]


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_the_interval_with_the_shift_holds_the_truth(shift):
    held, truth = 0, (1 + shift**2) ** 0.5
    for seed in range(400):
        low, high = measurement_error(table([seed, 77], 12, 3, shift)).sem_agreement_ci
        held += low <= truth <= high
    # 95 % of 400, less four standard errors; by matched moments 91 % with this shift
    assert held >= 400 * (0.95 - 4 * (0.95 * 0.05 / 400) ** 0.5)


@pytest.mark.parametrize(("k", "level"), [(2, 0.95), (3, 0.95), (4, 0.9)])
def test_planned_participants_reach_what_chi_squared_says(k, level):
    found = participants_for_sem(
        0.4, sem=1.5, n_sessions=k, confidence=level, rng=np.random.default_rng(1)
    )

    def reach(n):  # the share of studies whose half-width is 0.4 or less, exactly
        df = (n - 1) * (k - 1)
        low, high = (df / stats.chi2.ppf((1 + s * level) / 2, df) for s in (1, -1))
        most = 2 * 0.4 / (np.sqrt(high) - np.sqrt(low))
        return stats.chi2.cdf(df * (most / 1.5) ** 2, df)

    assert abs(found.reached - reach(found.n)) < 4 * found.standard_error
    assert reach(found.n + 1) > 0.8 > reach(found.n - 2)
    assert f"{k} sessions" in found.summary("°")


def test_a_planned_study_has_the_width_planned_for():
    n = participants_for_sem(0.4, sem=1.5, n_sessions=3, rng=np.random.default_rng(1)).n
    narrow = 0
    for seed in range(300):
        rng = np.random.default_rng([seed, 9])
        scores = 4 * rng.standard_normal((n, 1)) + 1.5 * rng.standard_normal((n, 3))
        narrow += np.ptp(measurement_error(scores).sem_ci) <= 2 * 0.4
    assert abs(narrow / 300 - 0.81) < 4 * (0.8 * 0.2 / 300) ** 0.5


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"precision": 0.0}, "precision"),
        ({"sem": -1.0}, "sem"),
        ({"n_sessions": 1}, "n_sessions"),
        ({"precision": 0.001}, "more than 1000"),
    ],
)
def test_plans_that_cannot_be_are_refused(given, message):
    words = {"precision": 0.4, "sem": 1.5, "n_sessions": 2} | given
    with pytest.raises(ValueError, match=message):
        participants_for_sem(words.pop("precision"), **words, rng=np.random.default_rng(1))
