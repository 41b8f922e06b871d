"""Intervals of the numbers of mean curves: over cycles, and over participants."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import compare_curves, pool_curves

seeds = st.integers(0, 2**32 - 1)
POINTS = np.linspace(0, 1, 51)
INTERVALS = (
    "offset_ci", "rms_demeaned_ci", "rmse_ci", "range_difference_ci", "correlation_ci",
    "slope_ci", "intercept_ci", "r_squared_ci",
)  # fmt: skip


def trial(rng, n=25, offset=1.0, gain=1.05):
    """Cycles of both instruments, a stylised flexion curve with independent noise."""
    shape = 60 * np.exp(-(((POINTS - 0.7) / 0.1) ** 2) / 2)
    waves = np.array([np.cos(np.pi * m * POINTS) for m in range(6)])
    reference = shape + rng.standard_normal((n, 6)) @ waves
    return offset + gain * reference + 0.5 * rng.standard_normal((n, 6)) @ waves, reference


@given(seeds)
def test_scale_and_shift_carry_over(seed):
    test, reference = trial(np.random.default_rng(seed))
    before = compare_curves(test, reference)
    after = compare_curves(3 * test + 7, 3 * reference)
    for name in ("rms_demeaned_ci", "range_difference_ci"):
        assert_allclose(getattr(after, name), 3 * np.array(getattr(before, name)), rtol=1e-6)
    for name in ("correlation_ci", "slope_ci", "r_squared_ci"):
        assert_allclose(getattr(after, name), getattr(before, name), rtol=1e-6)
    assert_allclose(after.offset_ci, 3 * np.array(before.offset_ci) + 7, rtol=1e-6)


@given(seeds)
def test_swapping_the_instruments_mirrors_differences_and_keeps_sizes(seed):
    test, reference = trial(np.random.default_rng(seed))
    there, back = compare_curves(test, reference), compare_curves(reference, test)
    for name in ("offset_ci", "range_difference_ci"):
        assert_allclose(getattr(there, name), -np.array(getattr(back, name))[::-1], atol=1e-9)
    for name in ("rms_demeaned_ci", "rmse_ci", "correlation_ci"):
        assert_allclose(getattr(there, name), getattr(back, name), atol=1e-9)


def test_jackknife_of_a_line_agrees_with_the_delta_method():
    # From the influence of a cycle on a mean square of means, 2 mean(D (d_i - D)); nothing shared
    # with the code but the definition.
    test, reference = trial(np.random.default_rng(3), n=200)
    found = compare_curves(test, reference)
    difference = test - reference
    rough = difference - difference.mean(axis=1, keepdims=True)
    influence = 2 * (rough * rough.mean(axis=0)).mean(axis=1)
    half = stats.t.ppf(0.975, 199) * influence.std(ddof=1) / np.sqrt(200)
    low, high = np.square(found.rms_demeaned_ci)
    # the interval also counts the serial correlation that 200 independent cycles seem to have
    assert_allclose((high - low) / 2, half, rtol=0.2)


def test_range_interval_is_of_two_fixed_points():
    # With the extremes at the same two points in every cycle the range is a plain mean.
    rng = np.random.default_rng(4)
    shape = np.zeros(9)
    shape[[2, 6]] = -50.0, 50.0
    test = shape + rng.standard_normal((40, 9))
    reference = np.tile(shape, (40, 1))
    own = (test[:, 6] - test[:, 2]) - 100
    found = compare_curves(test, reference).range_difference_ci
    plain = stats.t.interval(0.95, 39, own.mean(), stats.sem(own))
    assert_allclose(np.mean(found), np.mean(plain), atol=1e-9)
    assert np.diff(found) >= np.diff(plain) * (1 - 1e-9)


@pytest.mark.parametrize("n", [1, 2])
def test_one_or_two_cycles_have_no_interval(n):
    test, reference = trial(np.random.default_rng(1), n=n)
    result = compare_curves(test, reference)
    for name in INTERVALS:
        assert np.isnan(getattr(result, name)).all(), name
    difference = test.mean(axis=0) - reference.mean(axis=0)
    assert_allclose(result.rms_demeaned, np.std(difference))


def test_constant_curves_have_no_interval_of_what_they_lack():
    test, _ = trial(np.random.default_rng(1))
    result = compare_curves(test, np.zeros_like(test))
    assert np.isnan(result.correlation_ci).all()
    assert np.isnan(result.slope_ci).all()
    assert_allclose(result.rms_demeaned, np.std(test.mean(axis=0)))
    assert 0 < result.rms_demeaned_ci[0] < result.rms_demeaned < result.rms_demeaned_ci[1]


def test_every_interval_is_ordered_and_in_its_domain():
    result = compare_curves(*trial(np.random.default_rng(5), n=10))
    for name in INTERVALS:
        low, high = getattr(result, name)
        assert low <= high, name
    assert result.rms_demeaned_ci[0] >= 0
    assert -1 <= result.correlation_ci[0] <= result.correlation_ci[1] <= 1
    assert "95 % CI" in result.summary("°")
    assert {"rms_demeaned_ci_low", "correlation_ci_high"} <= set(result.to_frame())


def people(seed, k=8, trials=2):
    rng = np.random.default_rng(seed)
    found, names = [], []
    for person in range(k):
        offset, gain = rng.normal(1, 2), rng.normal(1, 0.05)
        for _ in range(trials):
            found.append(compare_curves(*trial(rng, offset=offset, gain=gain)))
            names.append(f"P{person}")
    return found, names


def test_pooled_numbers_are_students_t_over_participants():
    found, names = people(1)
    pooled = pool_curves(found, names)
    offsets = np.reshape([one.offset for one in found], (8, 2)).mean(axis=1)
    assert_allclose(pooled.offset_ci, stats.t.interval(0.95, 7, offsets.mean(), stats.sem(offsets)))
    rms = np.reshape([one.rms_demeaned for one in found], (8, 2)).mean(axis=1)
    assert_allclose(pooled.rms_demeaned, rms.mean())
    # On a logarithmic scale, and near Student's t where people are nearly alike.
    assert_allclose(np.sqrt(np.prod(pooled.rms_demeaned_ci)), rms.mean())
    half = stats.t.ppf(0.975, 7) * stats.sem(rms) / rms.mean()
    assert_allclose(np.log(pooled.rms_demeaned_ci[1] / rms.mean()), half, rtol=0.15)
    mad = np.reshape([one.mad_demeaned for one in found], (8, 2)).mean(axis=1)
    assert_allclose(pooled.mad_demeaned, mad.mean())
    assert_allclose(np.sqrt(np.prod(pooled.mad_demeaned_ci)), mad.mean())
    half = stats.t.ppf(0.975, 7) * stats.sem(mad) / mad.mean()
    assert_allclose(np.log(pooled.mad_demeaned_ci[1] / mad.mean()), half, rtol=0.15)
    z = np.arctanh(np.reshape([one.correlation for one in found], (8, 2))).mean(axis=1)
    expected = stats.t.interval(0.95, 7, z.mean(), stats.sem(z))
    assert_allclose(pooled.correlation_ci, np.tanh(expected))
    assert (pooled.n_participants, pooled.n_trials) == (8, 16)


@given(seeds)
def test_copies_of_a_participants_trials_and_their_order_change_nothing(seed):
    found, names = people(seed % 7, k=4, trials=1)
    once = pool_curves(found, names)
    order = np.random.default_rng(seed).permutation(8)
    both, labels = found * 2, names * 2
    again = pool_curves([both[i] for i in order], [labels[i] for i in order])
    for name in (
        "offset_ci", "rms_demeaned_ci", "mad_demeaned_ci", "range_difference_ci", "correlation_ci"
    ):  # fmt: skip
        assert_allclose(getattr(again, name), getattr(once, name), rtol=1e-9)


def test_one_participant_has_numbers_and_no_interval_over_people():
    found, _ = people(2, k=1, trials=3)
    pooled = pool_curves(found, ["P1"] * 3)
    assert_allclose(pooled.offset, np.mean([one.offset for one in found]))
    assert np.isnan(pooled.offset_ci).all()
    assert "One participant" in pooled.notes[0]
    assert "no interval" in pooled.summary("°")


def test_equal_curves_have_no_interval_of_rms_and_median():
    curves, _ = trial(np.random.default_rng(1))
    same = compare_curves(curves, curves)
    pooled = pool_curves([same, same], ["P1", "P2"])
    assert pooled.rms_demeaned == 0
    assert np.isnan(pooled.rms_demeaned_ci).all()
    assert pooled.mad_demeaned == 0
    assert np.isnan(pooled.mad_demeaned_ci).all()
    assert pooled.offset_ci == (0.0, 0.0)


def test_bad_input_is_named():
    found, names = people(1, k=2, trials=1)
    with pytest.raises(ValueError, match="`agreements` has 2 trial"):
        pool_curves(found, names[:1])
    with pytest.raises(ValueError, match="`participant` is missing at index 1"):
        pool_curves(found, ["P1", None])
    with pytest.raises(ValueError, match="`confidence` must lie between"):
        pool_curves(found, names, confidence=1.0)


def test_mean_curves_average_a_participants_trials_first():
    rng = np.random.default_rng(3)
    curves = [(rng.normal(size=(5, 11)), rng.normal(size=(5, 11))) for _ in range(3)]
    found = [compare_curves(test, reference) for test, reference in curves]
    pooled = pool_curves(found, ["P1", "P1", "P2"])
    first = (found[0].test_mean + found[1].test_mean) / 2
    assert_allclose(pooled.test_mean, (first + found[2].test_mean) / 2)
    assert_allclose(pooled.test_sd, np.abs(first - found[2].test_mean) / np.sqrt(2))
    assert_allclose(pooled.offset, (pooled.test_mean - pooled.reference_mean).mean())
    assert np.isnan(pool_curves(found[:1], ["P1"]).reference_sd).all()
