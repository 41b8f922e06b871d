import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import special, stats

from twinangle.agreement import compare_variability, pool_variability


def comparisons(seed, k=8, trials=1, added=0.6):
    rng = np.random.default_rng(seed)
    found, names = [], []
    for person in range(k):
        size = np.exp(0.3 * rng.standard_normal())
        for _ in range(trials):
            reference = size * rng.standard_normal((int(rng.integers(8, 40)), 11))
            own = added * size * rng.standard_normal(reference.shape)
            found.append(compare_variability(reference + own, reference))
            names.append(f"P{person}")
    return found, names


def test_intervals_are_students_t_of_paired_numbers():
    found, names = comparisons(1)
    pooled = pool_variability(found, names)
    logs = np.log([one.ratio for one in found])
    expected = stats.t.interval(0.95, 7, logs.mean(), stats.sem(logs))
    assert_allclose(pooled.ratio_ci, np.exp(expected))
    n = np.array([one.n_cycles for one in found])
    # c4 by its definition, the mean of a chi variable over √(n - 1)
    c4 = stats.chi(n - 1).mean() / np.sqrt(n - 1)
    assert_allclose(c4, np.sqrt(2 / (n - 1)) * special.poch((n - 1) / 2, 0.5))
    freed = np.array([one.difference for one in found]) / c4
    expected = stats.t.interval(0.95, 7, freed.mean(), stats.sem(freed))
    assert_allclose(pooled.difference_ci, expected)


@pytest.mark.parametrize("seed", range(5))
def test_scale_swap_order_and_copies(seed):
    found, names = comparisons(seed)
    pooled = pool_variability(found, names)
    copied = pool_variability([*found[::-1], *found], [*names[::-1], *names])
    for name in ("ratio_ci", "difference_ci", "added_sd_ci", "test_sd_ci"):
        assert_allclose(getattr(copied, name), getattr(pooled, name))
    low, high = pooled.added_sd_ci
    assert 0 < low < pooled.added_sd < high


def test_a_smoother_instrument_adds_nothing_and_says_so():
    rng = np.random.default_rng(2)
    found = []
    for _ in range(6):
        curves = rng.standard_normal((20, 9))
        found.append(compare_variability(0.8 * curves, curves))
    pooled = pool_variability(found, range(6))
    assert np.isnan(pooled.added_sd)
    assert pooled.added_sd_ci == (0.0, 0.0)
    assert_allclose(pooled.ratio, 0.8)
    assert any("varies less" in note for note in pooled.notes)
    assert "has no added" in pooled.summary("°")


def test_one_participant_has_no_interval_over_people():
    found, _ = comparisons(3, k=1, trials=2)
    pooled = pool_variability(found, ["P1", "P1"])
    assert_allclose(pooled.ratio, stats.gmean([one.ratio for one in found]))
    assert np.isnan(pooled.ratio_ci).all()
    assert np.isnan(pooled.added_sd_ci).all()
    assert "One participant" in pooled.notes[0]


def test_bad_input_is_named():
    found, _ = comparisons(3, k=2)
    with pytest.raises(ValueError, match="`comparisons` has 0 trial"):
        pool_variability([], [])
    with pytest.raises(ValueError, match="`participant` is missing at index 0"):
        pool_variability(found, [None, "P1"])
