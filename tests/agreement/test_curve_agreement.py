import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import compare_curves

seeds = st.integers(0, 2**32 - 1)


def curves(seed: int, n: int = 8, p: int = 101) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    reference = 30 + 30 * np.sin(np.linspace(0, 6, p)) + rng.standard_normal((n, p))
    return reference + rng.standard_normal((n, p)) + rng.uniform(-5, 5), reference


@given(seeds)
def test_parts_add_up_to_the_mean_squared_difference(seed):
    result = compare_curves(*curves(seed))
    assert_allclose(result.rmse**2, result.offset**2 + result.rms_demeaned**2, rtol=1e-12)
    parts = result.msd_offset + result.msd_spread + result.msd_pattern
    assert_allclose(parts, result.rmse**2, rtol=1e-10)


@given(seeds, st.floats(-50, 50))
def test_a_constant_moves_the_offset_alone(seed, constant):
    test, reference = curves(seed)
    before, after = compare_curves(test, reference), compare_curves(test + constant, reference)
    assert_allclose(after.offset - before.offset, constant, atol=1e-10)
    assert_allclose(after.rms_demeaned, before.rms_demeaned, atol=1e-10)
    assert_allclose(after.mad_demeaned, before.mad_demeaned, atol=1e-10)
    assert_allclose(after.range_difference, before.range_difference, atol=1e-10)
    assert_allclose(after.correlation, before.correlation, atol=1e-10)


@given(seeds)
def test_swapping_the_instruments_flips_the_signed_numbers(seed):
    test, reference = curves(seed)
    there, back = compare_curves(test, reference), compare_curves(reference, test)
    assert_allclose(
        [there.offset, there.range_difference], [-back.offset, -back.range_difference], atol=1e-12
    )
    assert_allclose(there.rms_demeaned, back.rms_demeaned)
    assert_allclose(there.mad_demeaned, back.mad_demeaned)


@given(seeds, st.floats(0.1, 20))
def test_scaling_both_scales_every_length(seed, scale):
    test, reference = curves(seed)
    before, after = compare_curves(test, reference), compare_curves(scale * test, scale * reference)
    lengths = ("offset", "rms_demeaned", "mad_demeaned", "rmse", "range_difference", "intercept")
    for name in lengths:
        assert_allclose(getattr(after, name), scale * getattr(before, name), rtol=1e-9, atol=1e-9)
    assert_allclose([after.slope, after.correlation], [before.slope, before.correlation], rtol=1e-9)


@given(seeds, st.integers(2, 101), st.floats(0.5, 4))
def test_the_median_absolute_deviation_is_at_most_root_two_times_the_rms(seed, p, power):
    # At half of the points or more the square is not below the median's: half of it at most is
    # the mean square.
    rng = np.random.default_rng(seed)
    result = compare_curves([rng.standard_normal(p) ** 3 * power], [rng.standard_normal(p)])
    assert 0 <= result.mad_demeaned <= np.sqrt(2) * result.rms_demeaned * (1 + 1e-12)


@given(seeds, st.floats(1, 1000))
def test_a_short_stretch_hardly_moves_the_median_absolute_deviation(seed, height):
    # A departure over a point of 101 moves the mean by 1/101 of its height, and the RMS far more.
    test, reference = curves(seed)
    bump = np.zeros(101)
    bump[40:42] = height, -height  # of mean 0, so that the other points stay
    before, after = compare_curves(test, reference), compare_curves(test + bump, reference)
    difference = test.mean(axis=0) - reference.mean(axis=0)
    sizes = np.sort(np.abs(difference - difference.mean()))
    assert sizes[48] - 1e-9 <= after.mad_demeaned <= sizes[52] + 1e-9
    if height > 20:
        assert after.rms_demeaned > before.rms_demeaned


def test_median_absolute_deviation_agrees_with_scipy():
    test, reference = curves(5)
    difference = test.mean(axis=0) - reference.mean(axis=0)
    expected = stats.median_abs_deviation(difference, center=np.mean)
    assert_allclose(compare_curves(test, reference).mad_demeaned, expected, rtol=1e-12)


def test_order_of_cycles_is_irrelevant():
    test, reference = curves(3)
    order = np.random.default_rng(1).permutation(len(test))
    mixed = compare_curves(test[order], reference[order])
    assert_allclose(mixed.rms_demeaned, compare_curves(test, reference).rms_demeaned)


def test_line_and_correlation_agree_with_scipy():
    test, reference = curves(5)
    line = stats.linregress(reference.mean(axis=0), test.mean(axis=0))
    result = compare_curves(test, reference)
    assert_allclose(
        [result.slope, result.intercept, result.correlation, result.r_squared],
        [line.slope, line.intercept, line.rvalue, line.rvalue**2],
    )


def test_gain_and_offset_are_read_off_the_line():
    # Iosa et al. (2014): w = 0.9 r + 3 has slope 0.9, intercept 3, r² 1 (closed form).
    _, reference = curves(7)
    result = compare_curves(0.9 * reference + 3, reference)
    assert_allclose([result.slope, result.intercept, result.r_squared], [0.9, 3, 1], atol=1e-10)


def test_components_of_kobayashi_and_salam_on_a_scaled_sine():
    # Closed form: the sine has SD 1/√2, so 2 sin + 1 gives offset² 1, spread² 1/2, pattern 0.
    sine = np.sin(2 * np.pi * np.arange(100) / 100)
    result = compare_curves([2 * sine + 1], [sine])
    assert_allclose(
        [result.msd_offset, result.msd_spread, result.msd_pattern], [1, 0.5, 0], atol=1e-12
    )


def test_constant_curve_has_no_correlation_and_says_so():
    result = compare_curves(np.ones((2, 5)), np.arange(10.0).reshape(2, 5))
    assert np.isnan(result.correlation)
    assert any("constant" in text for text in result.assumptions)
    assert "not defined" in result.summary("°")


def test_summary_and_frame():
    result = compare_curves(*curves(1))
    assert "8 cycles" in result.summary("°")
    assert result.to_frame()["rmse"].item() == result.rmse
    assert "test_mean" not in result.to_frame()


@pytest.mark.parametrize(
    ("test", "reference", "message"),
    [
        (np.ones((3, 5)), np.ones((3, 6)), "same cycles"),
        (np.full((3, 5), np.nan), np.ones((3, 5)), r"first at index \(0, 0\)"),
        (np.full((3, 5), np.inf), np.ones((3, 5)), "missing or infinite"),
        (np.ones(5), np.ones(5), "2 dimension"),
        (np.ones((3, 1)), np.ones((3, 1)), "at least 2 points"),
        ([["a", "b"]], [[1, 2]], "numbers only"),
    ],
)
def test_bad_curves_are_named(test, reference, message):
    with pytest.raises(ValueError, match=message):
        compare_curves(test, reference)


def test_curves_in_the_result_cannot_be_written():
    with pytest.raises(ValueError, match="read-only"):
        compare_curves(*curves(1)).test_mean[0] = 1


def test_offset_interval_nears_scipys_for_many_independent_cycles():
    rng = np.random.default_rng(2)
    offsets, reference = rng.standard_normal(2000), rng.standard_normal((2000, 20))
    result = compare_curves(reference + offsets[:, None] + 3, reference)
    expected = stats.ttest_1samp(offsets + 3, 0).confidence_interval(0.95)
    assert_allclose(result.offset, offsets.mean() + 3)
    assert_allclose(np.diff(result.offset_ci), expected.high - expected.low, rtol=0.06)


def test_order_of_cycles_widens_or_narrows_the_offset_interval():
    reference = np.random.default_rng(2).standard_normal((8, 20))
    width = {
        name: np.diff(compare_curves(reference + np.array(order)[:, None], reference).offset_ci)
        for name, order in {
            "slow": [-2, -1.5, -1, -0.5, 0.5, 1, 1.5, 2],
            "mixed": [1, -0.5, -1.5, 2, 0.5, 1.5, -2, -1],
            "alternating": [1, -1, 2, -2, 0.5, -0.5, 1.5, -1.5],
        }.items()
    }
    assert width["slow"] > 1.3 * width["mixed"] > 1.3 * 1.3 * width["alternating"]


def test_offset_of_one_or_two_cycles_has_no_interval():
    assert np.isnan(compare_curves(*(c[:2] for c in curves(1))).offset_ci).all()


@pytest.mark.parametrize("serial", [0.0, 0.5])
def test_offset_interval_holds_this_participants_offset(serial):
    # 500 trials of 30 cycles; 3 Monte Carlo standard errors around 95 % are 2.9 points.
    rng = np.random.default_rng(4)
    hits = 0
    for _ in range(500):
        level = rng.standard_normal(30)
        for i in range(1, 30):
            level[i] = serial * level[i - 1] + np.sqrt(1 - serial**2) * level[i]
        low, high = compare_curves(np.tile(level[:, None], 3), np.zeros((30, 3))).offset_ci
        hits += low <= 0 <= high
    assert 0.91 <= hits / 500 <= 0.985
