import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import compare_variability, cycle_variability

seeds = st.integers(0, 2**32 - 1)


def two(seed: int, n: int = 12, p: int = 21) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    reference = rng.standard_normal((n, 1)) + 0.3 * rng.standard_normal((n, p))
    return reference + 0.8 * rng.standard_normal((n, 1)), reference


def test_sd_is_numpys_averaged_over_points():
    curves, _ = two(1)
    result = cycle_variability(curves)
    assert_allclose(result.sd, np.std(curves, axis=0, ddof=1).mean())
    assert_allclose(result.sd_curve, stats.tstd(curves, axis=0))
    assert result.sd_ci[0] < result.sd < result.sd_ci[1]


@given(seeds, st.floats(-100, 100), st.floats(0.1, 50))
def test_shift_leaves_sd_and_scale_scales_it(seed, shift, scale):
    curves, _ = two(seed)
    before, after = cycle_variability(curves), cycle_variability(scale * curves + shift)
    assert_allclose(after.sd, scale * before.sd, rtol=1e-8)
    assert_allclose(after.sd_ci, scale * np.array(before.sd_ci), rtol=1e-6)


@given(seeds)
def test_swapping_inverts_ratio_and_negates_difference(seed):
    test, reference = two(seed)
    there, back = compare_variability(test, reference), compare_variability(reference, test)
    assert_allclose(there.ratio, 1 / back.ratio)
    assert_allclose(there.ratio_ci, [1 / back.ratio_ci[1], 1 / back.ratio_ci[0]])
    assert_allclose(there.difference_ci, [-back.difference_ci[1], -back.difference_ci[0]])


@given(seeds)
def test_added_sd_squares_to_the_difference_of_variances(seed):
    result = compare_variability(*two(seed))
    excess = result.test_sd**2 - result.reference_sd**2
    if excess >= 0:
        assert_allclose(result.added_sd**2, excess)
        assert result.added_sd_ci[0] <= result.added_sd <= result.added_sd_ci[1]
    else:
        assert np.isnan(result.added_sd)


def test_test_instrument_that_varies_less_is_said_to():
    test, reference = two(4)
    result = compare_variability(0.2 * test, reference)
    assert np.isnan(result.added_sd)
    assert result.added_sd_ci == (0.0, 0.0)
    assert "varies less" in result.summary("°")
    assert any("no square root" in " ".join(text.split()) for text in result.assumptions)


def test_serial_correlation_widens_the_interval():
    # One slow swing over 40 cycles against the same cycles in random order.
    rng = np.random.default_rng(0)
    phase = np.linspace(0, 3 * np.pi, 40)[:, None]
    test, reference = np.sin(phase) + np.cos(phase), np.sin(phase)
    order = rng.permutation(40)
    slow, mixed = (
        compare_variability(test, reference),
        compare_variability(test[order], reference[order]),
    )
    assert slow.n_effective < 15 < 30 < mixed.n_effective
    assert np.diff(slow.ratio_ci) > np.diff(mixed.ratio_ci)


def test_jackknife_approaches_the_interval_of_pitman_and_morgan_for_one_point_and_many_cycles():
    # F (K -+ sqrt(K^2 - 1)), K = 1 + 2 (1 - c^2) t^2/(n - 2), with scipy's quantile: Pitman (1939),
    # Morgan (1939); the formula from memory.
    rng = np.random.default_rng(5)
    reference = rng.standard_normal(4000)
    test = reference + 0.7 * rng.standard_normal(4000)
    f = (test.std() / reference.std()) ** 2
    free = 1 - stats.pearsonr(test, reference).statistic ** 2
    k = 1 + 2 * free * stats.t.ppf(0.975, 3998) ** 2 / 3998
    exact = np.sqrt(f * (k + np.array([-1, 1]) * np.sqrt(k**2 - 1)))
    ours = compare_variability(test[:, None], reference[:, None])
    assert_allclose(ours.ratio, np.sqrt(f))
    assert_allclose(ours.ratio_ci, exact, atol=0.004)


def test_coverage_on_curves_with_few_cycles():
    # 300 studies of 10 cycles; ratio of true SDs is √1.64. Binomial 3 SE around 95 % is 91.2.
    rng = np.random.default_rng(9)
    hits = 0
    for _ in range(300):
        reference = rng.standard_normal((10, 1)) * np.ones((1, 5))
        test = reference + 0.8 * rng.standard_normal((10, 1))
        low, high = compare_variability(test, reference).ratio_ci
        hits += low <= np.sqrt(1.64) <= high
    assert 0.91 <= hits / 300 <= 0.99


def test_too_few_cycles():
    with pytest.raises(ValueError, match="at least 2 row"):
        cycle_variability(np.ones((1, 5)))
    assert np.isnan(cycle_variability(np.arange(10.0).reshape(2, 5)).sd_ci).all()
    two_cycles = compare_variability(np.arange(10.0).reshape(2, 5), np.arange(10.0).reshape(2, 5))
    assert np.isnan(two_cycles.added_sd_ci).all()


def test_reference_that_does_not_vary_leaves_no_ratio():
    test, reference = two(1)
    result = compare_variability(test, np.ones_like(reference))
    assert np.isnan(result.ratio)
    assert np.isnan(result.ratio_ci).all()
    alone = cycle_variability(test)
    assert_allclose(result.difference, alone.sd)
    assert result.difference_ci[0] < alone.sd < result.difference_ci[1]


def test_summaries_speak_of_cycles():
    assert "12 cycles" in cycle_variability(two(1)[0]).summary("°")
    assert "adds" in compare_variability(*two(1)).summary("°")
