"""Means and limits of serially correlated values: against matrix algebra and other libraries."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import compare_curves, error_budget, within_participant_limits
from twinangle.agreement._intervals import exact_limit_factors
from twinangle.agreement._jackknife import spread_interval
from twinangle.agreement._serial import SerialValues, serial_values

seeds = st.integers(0, 2**32 - 1)


def correlated(seed, n=10, serial=0.5):
    rng = np.random.default_rng(seed)
    values = rng.standard_normal(n)
    for i in range(1, n):
        values[i] = serial * values[i - 1] + np.sqrt(1 - serial**2) * values[i]
    return 3 + 2 * values


def matrix(n, p):
    return p ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))


@pytest.mark.parametrize("n", [3, 10, 40])
def test_every_candidate_is_generalised_least_squares(n):
    values = correlated(1, n)
    found = serial_values(values)
    for p, shift, sd, counted in zip(
        found.correlation, found.shift, found.sd, found.counted, strict=True
    ):
        fit = sm.GLS(values, np.ones(n), sigma=matrix(n, p)).fit()
        assert_allclose(values.mean() + shift, fit.params[0])
        assert_allclose(sd / np.sqrt(counted), fit.bse[0])
        assert_allclose(sd**2, fit.scale)


def test_weights_are_the_likelihood_with_mean_and_spread_integrated_out():
    # Even in the mean and in the logarithm of the spread, summed over a grid of both.
    values = correlated(2, 6)
    found = serial_values(values)
    means = values.mean() + values.std() * np.linspace(-40, 40, 4001)
    log_sds = np.log(values.std()) + np.linspace(-2, 5, 701)

    def likelihood(p):
        apart = values - means[:, None]
        squares = np.einsum("mi,ij,mj->m", apart, np.linalg.inv(matrix(6, p)), apart)
        log_density = -squares / 2 * np.exp(-2 * log_sds[:, None]) - 6 * log_sds[:, None]
        return np.exp(log_density).sum() / np.sqrt(np.linalg.det(matrix(6, p)))

    low, high = 5, 30  # candidates of one prior weight
    expected = likelihood(found.correlation[high]) / likelihood(found.correlation[low])
    assert_allclose(found.weights[high] / found.weights[low], expected, rtol=1e-3)


@pytest.mark.parametrize("n", [3, 10, 50])
@pytest.mark.parametrize(("confidence", "coverage"), [(0.95, 0.95), (0.9, 0.8)])
def test_one_candidate_of_no_correlation_gives_the_exact_intervals(n, confidence, coverage):
    known = SerialValues(1.0, n, np.zeros(1), np.ones(1), np.zeros(1), np.ones(1), np.full(1, n))
    inner, outer = exact_limit_factors(n, confidence=confidence, coverage=coverage)
    assert_allclose(known.limit(1, confidence, coverage), [1 + inner, 1 + outer], atol=2e-4)
    assert_allclose(known.limit(-1, confidence, coverage), [1 - outer, 1 - inner], atol=2e-4)
    expected = stats.t.ppf((1 + confidence) / 2, n - 1) / np.sqrt(n)
    assert_allclose(known.half(confidence), expected)


def test_what_neighbours_share_is_a_share_of_a_chi_squared_variance():
    known = SerialValues(
        0.0, 10, np.full(1, 0.5), np.ones(1), np.zeros(1), np.full(1, 2.0), np.full(1, 4.0)
    )
    expected = 0.5 * 4 * 9 / stats.chi2.ppf([0.975, 0.025], 9)
    assert_allclose(known.shared(0.95), expected, rtol=1e-6)


@given(seeds, st.floats(-50, 50), st.floats(0.01, 100))
def test_shift_and_scale_carry_over_and_a_sign_mirrors(seed, shift, scale):
    values = correlated(seed)
    before, after = serial_values(values), serial_values(shift + scale * values)
    mirrored = serial_values(-values)
    assert_allclose(after.half(0.95), scale * before.half(0.95), rtol=1e-6)
    for sign in (-1, 1):
        limit = np.array(before.limit(sign, 0.95, 0.95))
        assert_allclose(after.limit(sign, 0.95, 0.95), shift + scale * limit, rtol=1e-6, atol=1e-6)
        assert_allclose(mirrored.limit(-sign, 0.95, 0.95), -limit[::-1], rtol=1e-6)
    assert_allclose(after.shared(0.95), scale**2 * np.array(before.shared(0.95)), rtol=1e-5)


@given(seeds)
def test_time_may_run_backwards(seed):
    values = correlated(seed, 12)
    there, back = serial_values(values), serial_values(values[::-1])
    assert_allclose(there.half(0.95), back.half(0.95), rtol=1e-9)
    assert_allclose(there.limit(1, 0.95, 0.95), back.limit(1, 0.95, 0.95), rtol=1e-9)


@given(seeds)
def test_more_confidence_is_a_wider_interval(seed):
    known = serial_values(correlated(seed))
    assert 0 < known.half(0.8) < known.half(0.95) < known.half(0.99)
    narrow, wide = known.limit(1, 0.8, 0.95), known.limit(1, 0.99, 0.95)
    assert wide[0] < narrow[0] < narrow[1] < wide[1]


@pytest.mark.parametrize("serial", [0.0, 0.5])
def test_ten_cycles_hold_what_is_said(serial):
    # A fixed 95 % of 600 has a standard error of 0.9; the plain t interval holds 74 % at 0.5.
    held = [abs(x.mean() - 3) <= serial_values(x).half(0.95) for x in _many(serial)]
    assert 0.92 <= np.mean(held) <= 0.98


def _many(serial):
    return (correlated(seed, 10, serial) for seed in range(600))


def test_interval_of_a_variance_nears_the_chi_squared_one_and_widens_with_correlation():
    n, widths = 1000, []
    for serial in (0.0, 0.6):
        curves = correlated(3, n, serial)[:, None]
        left_out = np.array([np.delete(curves, i).var(ddof=1) for i in range(n)])
        low, high = spread_interval(float(curves.var(ddof=1)), left_out, curves, 0.95)
        widths.append(np.log(high / low))
    chi = stats.chi2.ppf([0.025, 0.975], n - 1)
    assert_allclose(widths[0], np.log(chi[1] / chi[0]), rtol=0.1)
    assert_allclose(widths[1] / widths[0], np.sqrt((1 + 0.36) / (1 - 0.36)), rtol=0.15)
    assert np.isnan(spread_interval(0.0, np.zeros(5), np.zeros((5, 2)), 0.95)).all()


@pytest.mark.parametrize("n", [3, 5, 7])
@pytest.mark.parametrize("value", [0.0, 0.1, 1.0016874511, 1e9 / 3])
def test_equal_values_have_no_error(value, n):
    values = np.full(n, value)
    values[1] = np.nextafter(value, 2 * value)  # as rounding may leave them
    known = serial_values(values)
    assert known.half(0.95) == 0
    assert known.limit(1, 0.95, 0.95) == (known.mean, known.mean)
    assert known.shared(0.95) == (0, 0)


@pytest.mark.parametrize(("n", "said"), [(9, "0.3"), (10, "0.5"), (19, "0.5"), (20, "")])
def test_few_cycles_say_what_their_intervals_cannot_hold(n, said):
    rng = np.random.default_rng(1)
    test, reference = rng.standard_normal((2, n, 12))
    told = [
        within_participant_limits(test[:, 0]).notes,
        compare_curves(test, reference).assumptions,
        error_budget(test, reference).assumptions,
    ]
    for sentences in told:
        about = [text for text in sentences if "serial correlation of about" in text]
        assert len(about) == bool(said)
        assert all(f"about {said} and less beyond" in text for text in about)
