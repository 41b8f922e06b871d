"""Cluster-robust errors against a library, against textbook cases, and by their coverage."""

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.clocks.clustered import clustered_errors


def blocks_of(rows, target, size):
    parts = [slice(k, k + size) for k in range(0, target.size, size)]
    return (
        np.stack([rows[part].T @ rows[part] for part in parts]),
        np.stack([rows[part].T @ target[part] for part in parts]),
    )


def test_blocks_of_one_row_are_the_hc2_errors_of_statsmodels():
    rng = np.random.default_rng(3)
    rows = np.column_stack([np.ones(25), rng.standard_normal((25, 2))])
    target = rows @ [1.0, 2.0, -0.5] + rng.standard_normal(25) * (1 + np.abs(rows[:, 1]))

    covariance, _ = clustered_errors(*blocks_of(rows, target, 1), np.eye(3))

    expected = sm.OLS(target, rows).fit(cov_type="HC2").cov_params()
    assert_allclose(covariance, expected, rtol=1e-9)


def test_mean_of_equal_blocks_has_the_textbook_error():
    target = np.random.default_rng(4).standard_normal(60)
    rows = np.ones((60, 1))

    covariance, freedom = clustered_errors(*blocks_of(rows, target, 5), np.eye(1))

    means = target.reshape(12, 5).mean(axis=1)
    assert_allclose(covariance[0, 0], means.var(ddof=1) / 12)
    assert_allclose(freedom, 11)


def test_difference_of_two_groups_is_welch():
    """The error is that of Welch; the freedom n1 + n2 − 2, as equal variances are assumed."""
    rng = np.random.default_rng(5)
    first, second = rng.standard_normal(8), 3 + rng.standard_normal(8)
    rows = np.column_stack([np.ones(16), np.repeat([0.0, 1.0], 8)])

    covariance, freedom = clustered_errors(
        *blocks_of(rows, np.concatenate([first, second]), 1), np.array([[0.0, 1.0]])
    )

    t = stats.ttest_ind(second, first, equal_var=False).statistic
    assert_allclose((second.mean() - first.mean()) / np.sqrt(covariance[0, 0]), t)
    assert_allclose(freedom, 14)


def test_scale_and_order_of_the_blocks():
    rng = np.random.default_rng(6)
    rows, target = rng.standard_normal((80, 3)), rng.standard_normal(80)
    outer, moment = blocks_of(rows, target, 8)
    before = clustered_errors(outer, moment, np.eye(3))
    order = rng.permutation(10)

    after = clustered_errors(outer[order], 7.0 * moment[order], np.eye(3))

    assert_allclose(after[0], 49.0 * before[0])
    assert_allclose(after[1], before[1])


@pytest.mark.parametrize("n_blocks", [6, 15])
def test_intervals_of_a_slope_cover_with_few_blocks(n_blocks):
    """Errors in common within a block: plain least squares covers far too little here."""
    rng = np.random.default_rng(n_blocks)
    time = np.linspace(-1, 1, 10 * n_blocks)
    rows = np.column_stack([np.ones(time.size), time])
    held, plain, n = 0, 0, 1500
    for _ in range(n):
        shared = np.repeat(rng.standard_normal(n_blocks), 10)
        target = shared + 0.5 * rng.standard_normal(time.size)
        outer, moment = blocks_of(rows, target, 10)
        slope = np.linalg.solve(outer.sum(axis=0), moment.sum(axis=0))[1]
        covariance, freedom = clustered_errors(outer, moment, np.eye(2))
        held += abs(slope) < stats.t.ppf(0.975, freedom[1]) * np.sqrt(covariance[1, 1])
        fit = stats.linregress(time, target)
        plain += abs(fit.slope) < 1.96 * fit.stderr

    # Monte Carlo error of 95 % over 1500: 0.56 points.
    assert 0.93 < held / n < 0.97
    assert plain / n < 0.7


def test_too_few_blocks_give_no_error():
    covariance, freedom = clustered_errors(np.ones((2, 1, 1)), np.ones((2, 1)), np.eye(1))

    assert np.isnan(covariance).all()
    assert np.isnan(freedom).all()
