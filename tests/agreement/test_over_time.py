"""Sample by sample, and with all cycles: laws, and a published value."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from twinangle.agreement import compare_over_time, cycle_variability, exclusion_effect
from twinangle.agreement.curves import compare_curves

SEEDS = st.integers(0, 2**20)
few = settings(max_examples=25, deadline=None)


def two(seed, n=200):
    rng = np.random.default_rng(seed)
    reference = 30 * np.sin(np.linspace(0, 20, n)) + rng.normal(0, 1, n)
    return reference * rng.uniform(0.9, 1.1) + rng.normal(2, 0.5, n), reference


def test_published_first_readings():
    """Bland & Altman 1986, Lancet 327:307, peak flow, first readings (design notes, section 6).

    Mean difference -2.117647 and SD 38.765130 (n - 1) of Wright's less the mini meter's, computed
    from the paper's table, which prints -2.1 and 38.8.
    """
    wright = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
    found = compare_over_time(wright, mini, rate_hz=1.0)
    assert_allclose(found.offset, -2.117647, atol=1e-6)
    assert_allclose(found.rms_demeaned * np.sqrt(17 / 16), 38.765130, atol=1e-6)
    assert_allclose(found.correlation, np.corrcoef(wright, mini)[0, 1])


@few
@given(seed=SEEDS, constant=st.floats(-50, 50))
def test_a_constant_moves_the_offset_only(seed, constant):
    a, b = two(seed)
    plain, moved = (compare_over_time(x, b, rate_hz=100.0) for x in (a, a + constant))
    assert_allclose(moved.offset, plain.offset + constant, atol=1e-9)
    assert_allclose(moved.rms_demeaned, plain.rms_demeaned, atol=1e-9)
    assert_allclose(moved.correlation, plain.correlation, atol=1e-9)
    assert_allclose(moved.rmse**2, moved.offset**2 + moved.rms_demeaned**2, rtol=1e-9)


@few
@given(seed=SEEDS)
def test_exchanging_the_instruments_keeps_the_rms(seed):
    a, b = two(seed)
    one, other = compare_over_time(a, b, rate_hz=50.0), compare_over_time(b, a, rate_hz=50.0)
    assert_allclose(other.offset, -one.offset)
    assert_allclose(other.rms_demeaned, one.rms_demeaned)
    assert_allclose(other.correlation, one.correlation)


@few
@given(seed=SEEDS)
def test_gaps_count_for_neither(seed):
    a, b = two(seed)
    holes = np.random.default_rng(seed).random(a.size) < 0.2
    left = np.where(holes, np.nan, a)
    found = compare_over_time(left, b, rate_hz=100.0)
    whole = compare_over_time(a[~holes], b[~holes], rate_hz=100.0)
    assert found.n_samples == (~holes).sum()
    assert_allclose([found.offset, found.rms_demeaned], [whole.offset, whole.rms_demeaned])
    assert_allclose(found.duration_s, found.n_samples / 100.0)


def test_one_cycle_by_its_points_is_its_mean_curve():
    """Over the points of a single cycle both ways of comparing are the same."""
    a, b = two(3, 101)
    curves = compare_curves(a[None], b[None])
    time = compare_over_time(a, b, rate_hz=100.0)
    assert_allclose([time.offset, time.rms_demeaned], [curves.offset, curves.rms_demeaned])


@pytest.mark.parametrize(
    ("test", "reference", "rate", "said"),
    [
        ([1.0, 2.0], [1.0], 100.0, "2 samples and `reference` 1"),
        ([1.0, np.nan], [1.0, 2.0], 100.0, r"share 1 sample\(s\)"),
        ([1.0, np.inf], [1.0, 2.0], 100.0, "one is infinite"),
        ([1.0, 2.0], [1.0, 2.0], 0.0, "rate_hz"),
    ],
)
def test_bad_input(test, reference, rate, said):
    with pytest.raises(ValueError, match=said):
        compare_over_time(test, reference, rate_hz=rate)


def cycles(seed=4, n=20):
    rng = np.random.default_rng(seed)
    course = np.sin(np.linspace(0, 6, 21))
    curves = 30 * course + rng.normal(0, 2, (n, 1)) * np.abs(course)
    curves[-2:] *= 1.4  # two odd ones
    return curves, curves + rng.normal(0, 0.3, (n, 21))


def test_all_cycles_beside_the_kept():
    a, b = cycles()
    kept = np.ones(20, dtype=bool)
    kept[[0, 18, 19]] = False
    odd = np.zeros(20, dtype=bool)
    odd[18:] = True
    found = exclusion_effect(a, b, kept=kept, outlying=odd)
    over_all, over_kept = cycle_variability(a).sd, cycle_variability(a[kept]).sd
    assert (found.n_all, found.n_outliers) == (20, 2)
    assert_allclose(found.test_sd_all, over_all)
    assert_allclose(found.test_sd_change, over_kept - over_all)
    assert_allclose(found.test_sd_outlier_change, over_kept - cycle_variability(a[kept | odd]).sd)
    assert_allclose(found.reference_sd_all, cycle_variability(b).sd)
    assert found.test_sd_change < found.test_sd_outlier_change + 0.1 < 0
    assert "20 cycles of the movement" in found.summary("°")


@few
@given(seed=SEEDS, constant=st.floats(-20, 20))
def test_nothing_left_out_changes_nothing(seed, constant):
    a, b = cycles(seed)
    every = np.ones(20, dtype=bool)
    found = exclusion_effect(a, None, kept=every, outlying=~every)
    assert found.test_sd_change == found.test_sd_outlier_change == 0
    assert np.isnan(found.reference_sd_all)
    moved = exclusion_effect(a + constant, b, kept=every, outlying=~every)
    assert_allclose(moved.test_sd_all, found.test_sd_all, atol=1e-9)
    other = exclusion_effect(b, a, kept=every, outlying=~every)
    assert_allclose(other.reference_sd_all, found.test_sd_all)


def test_a_cycle_is_kept_or_outlying():
    a, _ = cycles()
    every = np.ones(20, dtype=bool)
    with pytest.raises(ValueError, match="must not name the same cycle"):
        exclusion_effect(a, None, kept=every, outlying=every)
    with pytest.raises(ValueError, match="`kept` 19"):
        exclusion_effect(a, None, kept=every[1:], outlying=every)
