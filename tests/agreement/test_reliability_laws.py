import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from twinangle.agreement import (
    coefficient_of_multiple_correlation,
    concordance,
    intraclass_correlations,
    measurement_error,
)

seeds = st.integers(0, 2**32 - 1)


def scores(seed: int, n: int = 10, k: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.standard_normal((n, 1)) + 0.6 * rng.standard_normal((n, k))


@given(seeds, st.floats(-100, 100), st.floats(0.1, 20))
def test_unit_and_zero_do_not_matter(seed, shift, scale):
    before = intraclass_correlations(scores(seed))
    after = intraclass_correlations(scale * scores(seed) + shift)
    assert_allclose([b.value for b in after], [b.value for b in before], rtol=1e-6)


@given(seeds)
def test_a_shift_of_one_column_leaves_consistency_and_lowers_agreement(seed):
    table = scores(seed)
    moved = table + np.array([0, 0, 5.0])
    forms = [{one.form: one.value for one in intraclass_correlations(t)} for t in (table, moved)]
    same = [each["ICC(3,1)"] for each in forms]
    lower = [abs(each["ICC(2,1)"]) for each in forms]
    assert_allclose(same[0], same[1], rtol=1e-6)
    assert lower[1] < max(lower[0], 0.3)
    errors = [measurement_error(t) for t in (table, moved)]
    assert_allclose(errors[0].sem, errors[1].sem, rtol=1e-6)
    assert errors[1].sem_agreement > errors[0].sem_agreement


def test_sem_is_the_root_of_statsmodels_error_mean_square():
    table = scores(3)
    long = pd.DataFrame(table).melt(ignore_index=False).reset_index()
    anova = anova_lm(ols("value ~ C(index) + C(variable)", long).fit())
    expected = np.sqrt(anova.loc["Residual", "mean_sq"])
    result = measurement_error(table)
    assert_allclose(result.sem, expected)
    assert result.sem_ci[0] < result.sem < result.sem_ci[1]


@given(seeds)
def test_concordance_is_symmetric_and_one_for_equal_readings(seed):
    x, y = scores(seed, 12, 2).T
    assert_allclose(concordance(x, y).value, concordance(y, x).value)
    assert_allclose(concordance(x, x).value, 1)
    assert abs(concordance(x, y).value) <= abs(concordance(x, y).precision) + 1e-12


def test_small_sample_interval_of_concordance_is_wider_by_students_t():
    x, y = scores(1, 6, 2).T
    own, published = concordance(x, y), concordance(x, y, small_sample=False)
    reach = [np.ptp(np.arctanh(one.value_ci)) for one in (own, published)]
    assert_allclose(reach[0] / reach[1], stats.t.ppf(0.975, 5) / stats.norm.ppf(0.975))
    assert own.value == published.value


def test_names_say_the_whole_form():
    result = next(one for one in intraclass_correlations(scores(1)) if one.form == "ICC(2,k)")
    assert result.full_name.startswith("two-way random effects, absolute agreement, mean of k")
    assert "ICC(2,k)" in result.summary()
    assert any("not agreement" in text for text in result.assumptions)
    assert "detectable" in measurement_error(scores(1)).summary("°")
    assert "Concordance" in concordance(*scores(1, 9, 2).T).summary()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: intraclass_correlations([[1, 2]]), "at least 2 row"),
        (lambda: intraclass_correlations([[1], [2]]), "at least 2 columns"),
        (lambda: concordance([1, 1, 1], [1, 2, 3]), "constant"),
        (lambda: coefficient_of_multiple_correlation([[1.0, 2.0]]), "at least 2 row"),
        (lambda: coefficient_of_multiple_correlation([[1.0], [2.0]]), "at least 2 points"),
    ],
)
def test_bad_scores_are_named(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_the_interval_of_a_mean_of_measurements_is_in_order():
    # Scores that tell nobody apart: the lower end for one measurement is below -1/(k - 1), where
    # Spearman and Brown's formula has its pole; beyond it the end came out above the upper one.
    scores = np.array([[1.0, 4.0], [3.0, 2.0], [4.0, 1.1], [2.0, 3.2], [3.5, 1.9], [1.5, 3.0]])
    found = {one.form: one for one in intraclass_correlations(scores)}
    assert found["ICC(2,1)"].value_ci[0] < -1
    low, high = found["ICC(2,k)"].value_ci
    assert low == -np.inf
    assert low <= found["ICC(2,k)"].value <= high
    pooled = [one for seed in range(200) for one in intraclass_correlations(
        np.random.default_rng(seed).normal(size=(5, 3)))]  # fmt: skip
    assert all(one.value_ci[0] <= one.value_ci[1] for one in pooled)
