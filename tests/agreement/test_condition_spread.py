"""Spread of two conditions with unlike numbers of serially correlated cycles."""

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view
from numpy.testing import assert_allclose
from scipy import optimize, signal, stats

from twinangle.agreement._difference_reach import difference_reach
from twinangle.agreement.condition_spread import (
    ConditionSpread,
    conditions_serial,
    lag_sums,
    one_participant_spread,
    paired_spread,
    points_alike,
    window_spread,
    windows_spread,
)
from twinangle.agreement.serial_spread import expected_loss, serial_correlations
from twinangle.agreement.variability import cycle_variability


def cycles(rng, n, serial, points=4):
    """Return first-order cycles of variance 1 at independent points."""
    noise = rng.standard_normal((n, points))
    noise[1:] *= np.sqrt(1 - serial**2)
    return signal.lfilter([1.0], [1.0, -serial], noise, axis=0)


def correlation_matrix(n, serial):
    return serial ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))


def spread_of(people):
    """Return the arrays of participants' two sets of cycles, one trial each."""
    m = [min(len(a), len(b)) for a, b in people]
    windows = np.array(
        [[window_spread(x, each) for x in pair] for pair, each in zip(people, m, strict=True)]
    )
    sums = np.array([[(len(x), *lag_sums(x)) for x in pair] for pair in people], dtype=float)
    alike = np.array([[points_alike(x) for x in pair] for pair in people])
    n, lag0, lag1 = (sums[..., None, i] for i in range(3))
    return ConditionSpread(
        np.array(m, float), windows[..., 0], windows[..., 1], n, lag0, lag1, alike
    )


# Reference: NIST/SEMATECH e-Handbook 6.3.2 and the usual control-chart tables, c4(n).
@pytest.mark.parametrize(("n", "c4"), [(2, 0.7979), (5, 0.9400), (10, 0.9727), (25, 0.9896)])
def test_without_serial_correlation_what_an_sd_falls_short_is_c4_as_tabulated(n, c4):
    _, log = expected_loss(np.array(float(n)), np.array(0.0), np.array(0.3))
    assert_allclose(np.exp(log), c4, atol=5e-5)


@pytest.mark.parametrize("n", [3, 7, 20])
@pytest.mark.parametrize("serial", [-0.4, 0.2, 0.6])
def test_closed_forms_are_the_traces_of_the_matrices(n, serial):
    """numpy's matrices of the quadratic form are the reference."""
    centre = np.eye(n) - 1 / n
    form = centre @ correlation_matrix(n, serial) @ centre
    mean, df = np.trace(form), np.trace(form) ** 2 / np.trace(form @ form)
    chi = stats.chi(df)
    log_mean, mean_log = np.log(chi.mean() / np.sqrt(df)), chi.expect(np.log) - np.log(df) / 2
    shrunk = 0.5 * np.log(mean / (n - 1))
    found, factor = expected_loss(np.array(float(n)), np.array(serial), np.array(0.25))
    assert_allclose(factor, shrunk + log_mean, atol=1e-10)
    assert_allclose(found, shrunk + 0.25 * mean_log + 0.75 * log_mean, atol=1e-6)


@pytest.mark.parametrize("points", [1, 6])
@pytest.mark.parametrize(("n", "serial"), [(6, 0.0), (6, 0.5), (12, 0.5), (30, 0.3)])
def test_loss_is_what_simulated_sds_fall_short(points, n, serial):
    rng = np.random.default_rng([points, n])
    sds = np.array([cycles(rng, n, serial, points).std(axis=0, ddof=1).mean() for _ in range(8000)])
    loss, factor = expected_loss(np.array(float(n)), np.array(serial), np.array(1 / points))
    assert_allclose(np.log(sds).mean(), loss, atol=0.016)
    assert_allclose(sds.mean(), np.exp(factor), atol=0.011)


@pytest.mark.parametrize("serial", [-0.3, 0.0, 0.5, 0.8])
def test_expected_autocorrelation_gives_back_the_serial_correlation(serial):
    """The expectations of both sums, from numpy's matrices, must lead back to the correlation."""
    lags, squares, numbers = [], [], []
    for n in (5, 9, 40):
        centre = np.eye(n) - 1 / n
        form = centre @ correlation_matrix(n, serial) @ centre
        squares.append(np.trace(form))
        lags.append(np.trace(form, offset=1))
        numbers.append(float(n))
    n, lag0, lag1 = (np.array(x)[:, None, None] for x in (numbers, squares, lags))
    assert_allclose(serial_correlations(n, lag0, lag1), [serial], atol=1e-9)


def test_windows_are_every_run_of_consecutive_cycles():
    curves = np.random.default_rng(3).standard_normal((23, 7))
    runs = sliding_window_view(curves, 6, axis=0).std(axis=-1, ddof=1).mean(axis=-1)
    log, sd = window_spread(curves, 6)
    assert_allclose([log, sd], [np.log(runs).mean(), runs.mean()])


def test_cycles_that_do_not_vary_have_no_logarithm():
    log, sd = window_spread(np.tile(np.linspace(0, 60, 11), (9, 1)) + 1e6, 4)
    assert np.isnan(log)
    assert sd == 0


def test_points_that_vary_as_one_and_points_that_do_not():
    rng = np.random.default_rng(1)
    level = rng.standard_normal((4000, 1))
    assert_allclose(points_alike(level * np.array([1.0, 2.0, 3.0])), 1)
    assert_allclose(points_alike(rng.standard_normal((4000, 5))), 0.2, atol=0.01)


# ---- the comparison itself; nominal values and the c4-only form it replaces


def studies(n_studies, k, numbers, serials, seed):
    """Return simulated studies stacked along the last axis; the SDs are the same in both."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(n_studies):
        size = np.exp(0.3 * rng.standard_normal(k))
        people = [
            tuple(
                each * np.exp(0.1 * rng.standard_normal())
                * cycles(rng, rng.integers(low, high + 1), rng.uniform(*serial))
                for (low, high), serial in zip(numbers, serials, strict=True)
            )
            for each in size
        ]  # fmt: skip
        found.append(spread_of(people))
    parts = [
        np.stack([getattr(one, name) for one in found], axis=-1)
        for name in ("window", "log_sd", "sd", "n", "lag0", "lag1", "alike")
    ]
    return ConditionSpread(*parts)


@pytest.mark.parametrize(
    ("numbers", "serials"),
    [
        (((8, 15), (60, 100)), ((0.3, 0.6), (0.3, 0.6))),
        (((40, 65), (5, 12)), ((0.3, 0.6), (0.3, 0.6))),
        (((8, 15), (60, 100)), ((0.0, 0.2), (0.4, 0.6))),
        (((40, 65), (5, 12)), ((0.4, 0.6), (0.0, 0.2))),
    ],
)
def test_unlike_numbers_of_correlated_cycles_leave_ratio_and_difference(numbers, serials):
    """Of equal SDs; freed by c4 alone they came out 8-10 % apart and were covered 57-89 %."""
    n = 250
    found = paired_spread(studies(n, 8, numbers, serials, 7), 0.95)
    assert abs(found.log_ratio.mean()) < 0.01 + 3 * found.log_ratio.std() / np.sqrt(n)
    assert abs(found.difference.mean()) < 0.01 + 3 * found.difference.std() / np.sqrt(n)
    held = (np.abs(found.log_ratio) < found.log_half, (found.low < 0) & (found.high > 0))
    for hits in map(int, map(np.count_nonzero, held)):
        assert stats.binomtest(hits, n, 0.95).pvalue > 0.005, hits
    assert_allclose(found.serial.mean(axis=1), [np.mean(pair) for pair in serials], atol=0.05)


def test_windows_alone_hold_where_correlations_are_alike_and_not_where_they_are_not():
    alike = studies(150, 8, ((8, 15), (60, 100)), ((0.3, 0.6), (0.3, 0.6)), 5)
    unlike = studies(150, 8, ((8, 15), (60, 100)), ((0.0, 0.2), (0.4, 0.6)), 5)
    assert abs(windows_spread(alike, 0.95).log_ratio.mean()) < 0.02
    assert windows_spread(unlike, 0.95).log_ratio.mean() < -0.06


@pytest.mark.parametrize("serial", [0.0, 0.4])
def test_interval_of_one_participant_holds_over_cycles(serial):
    rng, n, hits = np.random.default_rng(11), 200, np.zeros(2, int)
    for _ in range(n):
        pair = cycles(rng, 14, serial), cycles(rng, 50, serial)
        halves = tuple(np.log(np.divide(*v.sd_ci[::-1])) / 2 for v in map(cycle_variability, pair))
        log, half, _, bounds = one_participant_spread(spread_of([pair]), halves)
        hits += [abs(log) < half, bounds[0] < 0 < bounds[1]]
    for each in hits:
        assert stats.binomtest(int(each), n, 0.95).pvalue > 0.005, hits


def test_swapping_conditions_mirrors_both_forms_and_scale_leaves_the_ratio():
    rng = np.random.default_rng(2)
    people = [(cycles(rng, 12, 0.4), 1.3 * cycles(rng, 40, 0.2)) for _ in range(5)]
    there, back = spread_of(people), spread_of([pair[::-1] for pair in people])
    large = spread_of([(57.3 * a, 57.3 * b) for a, b in people])
    for form in (paired_spread, windows_spread):
        one, other, scaled = (form(each, 0.9) for each in (there, back, large))
        assert_allclose(one.log_ratio, -other.log_ratio)
        assert_allclose([one.low, one.high], [-other.high, -other.low], rtol=1e-6)
        assert_allclose(scaled.log_ratio, one.log_ratio)
        assert_allclose(scaled.difference, 57.3 * one.difference)


# ---- the difference: its skewness, and who decides its serial correlation


def test_one_participant_of_large_spread_does_not_decide_the_serial_correlation():
    """Sums of squares gave 0.75 of nine people of 0.2 and one of 0.8 and ten times the size."""
    rng = np.random.default_rng(6)
    people = [tuple(cycles(rng, 200, 0.2) for _ in range(2)) for _ in range(9)]
    people.append(tuple(10 * cycles(rng, 200, 0.8) for _ in range(2)))
    found = conditions_serial(spread_of(people))
    assert_allclose(found, (9 * 0.2 + 0.8) / 10, atol=0.06)


def test_the_difference_reaches_further_up_where_the_condition_compared_has_few_cycles():
    """An interval of equal arms missed a difference above it ten times as often as one below it."""
    found = paired_spread(studies(200, 8, ((40, 65), (5, 12)), ((0.3, 0.6), (0.3, 0.6)), 3), 0.95)
    above, below = found.high - found.difference, found.difference - found.low
    assert np.median(above / below) > 1.1
    assert (below > 0).all()
    missed = np.count_nonzero(found.high < 0), np.count_nonzero(found.low > 0)
    assert max(missed) <= 4 * max(min(missed), 1), missed


def test_the_reach_is_the_range_over_the_ellipsoid_as_scipy_finds_it():
    rng = np.random.default_rng(8)
    parts = np.array([0.3, 0.5, 0.4, 0.5]) + 0.3 * rng.standard_normal((6, 4))
    whole, t = parts.mean(axis=0), stats.t.ppf(0.975, 5)
    left_out = np.array([np.delete(parts, i, axis=0).mean(axis=0) for i in range(6)])

    def levels(at):
        return np.exp(at[:2]) / np.sqrt(1.5 - np.tanh(at[2:]))

    axes = (parts - whole).T * t / np.sqrt(6 * 5)
    ends = []
    for side in (-1, 1):
        found = optimize.minimize(
            lambda u, side=side: -side * np.diff(levels(whole + axes @ u))[0],
            side * np.ones(6) / 6,
            constraints={"type": "ineq", "fun": lambda u: 1 - u @ u},
            options={"maxiter": 500, "ftol": 1e-12},
        )
        ends.append(abs(-side * found.fun - np.diff(levels(whole))[0]))
    assert_allclose(difference_reach(levels, whole, left_out, t), ends, rtol=2e-3)
