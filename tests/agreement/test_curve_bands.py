import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import (
    curve_band,
    difference_along_cycle,
    functional_limits,
    limits_of_agreement,
)

seeds = st.integers(0, 2**32 - 1)
POINTS = np.linspace(0, 1, 41)
BASIS = np.array([np.ones(41)] + [np.sqrt(2) * np.cos(np.pi * m * POINTS) for m in range(1, 7)])
SIZES = np.array([0.6, 0.5, 0.5, 0.4, 0.3, 0.2, 0.2])


def study(rng: np.random.Generator, k: int, n: int = 6) -> tuple[np.ndarray, np.ndarray]:
    people = np.repeat(np.arange(k), n)
    between = rng.standard_normal((k, 7)) * SIZES @ BASIS
    return between[people] + rng.standard_normal((people.size, 7)) * SIZES @ BASIS, people


def holds_zero(band) -> bool:
    return bool(np.all((band.lower <= 0) & (band.upper >= 0)))


@pytest.mark.parametrize("k", [6, 20])
def test_band_holds_the_whole_mean_curve(k):
    # 500 studies at nominal 90 %: 3 Monte Carlo standard errors are 4 points.
    rng = np.random.default_rng(k)
    hits = np.mean([holds_zero(curve_band(*study(rng, k), confidence=0.9)) for _ in range(500)])
    assert 0.86 <= hits <= 0.95


def test_band_for_a_new_participant_holds_one():
    rng = np.random.default_rng(2)
    hits = 0
    for _ in range(400):
        curves, people = study(rng, 9)
        band = curve_band(curves, people, target="new-participant", confidence=0.9)
        new = study(rng, 1)[0].mean(axis=0)
        hits += np.all((band.lower <= new) & (new <= band.upper))
    assert 0.855 <= hits / 400 <= 0.955


@given(seeds, st.floats(-50, 50), st.floats(0.1, 10))
def test_shift_and_scale_carry_over(seed, shift, scale):
    curves, people = study(np.random.default_rng(seed), 7)
    before, after = curve_band(curves, people), curve_band(scale * curves + shift, people)
    assert_allclose(after.critical, before.critical, rtol=1e-6)
    assert_allclose(after.upper, scale * before.upper + shift, rtol=1e-6, atol=1e-8)


@given(seeds)
def test_band_lies_between_pointwise_and_bonferroni(seed):
    band = curve_band(*study(np.random.default_rng(seed), 8))
    bonferroni = stats.t.ppf(1 - 0.05 / (2 * 41), 7)
    assert band.pointwise <= band.critical <= bonferroni
    assert_allclose(band.pointwise, stats.t.ppf(0.975, 7))


def test_a_level_that_moves_as_one_needs_no_more_than_the_pointwise_band():
    rng = np.random.default_rng(4)
    band = curve_band(rng.standard_normal((9, 1)) * np.ones(41) + np.sin(POINTS))
    assert_allclose(band.critical, band.pointwise, rtol=1e-6)


def test_copies_of_cycles_do_not_narrow_a_band():
    curves, people = study(np.random.default_rng(5), 8)
    once, many = curve_band(curves, people), curve_band(np.tile(curves, (5, 1)), np.tile(people, 5))
    assert_allclose(many.upper, once.upper)


def test_functional_limits_are_limits_of_agreement_at_each_point():
    curves, people = study(np.random.default_rng(7), 6)
    result = functional_limits(curves, np.zeros_like(curves), people)
    for point in (0, 20, 40):
        single = limits_of_agreement(curves[:, point], people)
        assert_allclose([result.lower[point], result.upper[point]], [single.lower, single.upper])
        assert_allclose(result.sd_within[point], single.sd_within)
    assert len(result.to_frame()) == 41
    assert "Along the cycle" in result.summary("°")


def test_statistic_along_the_cycle_is_scipys_paired_t():
    rng = np.random.default_rng(8)
    test, reference = rng.standard_normal((2, 9, 41))
    result = difference_along_cycle(test, reference, rng=rng)
    assert_allclose(result.statistic, stats.ttest_rel(test, reference).statistic)
    assert result.n_patterns == 2**8


def test_single_point_p_is_scipys_permutation_test():
    rng = np.random.default_rng(9)
    x = rng.standard_normal(8) + 0.6
    flat = np.repeat(x[:, None], 5, axis=1)
    ours = difference_along_cycle(flat, np.zeros_like(flat), rng=rng)
    theirs = stats.permutation_test(
        (x,), lambda d, axis: np.abs(d.mean(axis)), permutation_type="samples", vectorized=True,
        alternative="greater",
    )  # fmt: skip
    assert_allclose(ours.p_adjusted[0], theirs.pvalue)


def test_family_wise_error_is_kept():
    # 400 studies without a difference: at most 5 % + 3 Monte Carlo standard errors find one.
    rng = np.random.default_rng(10)
    found = 0
    for _ in range(400):
        curves, people = study(rng, 7)
        found += bool(difference_along_cycle(curves, 0 * curves, people, rng=rng).regions)
    assert 0.01 <= found / 400 <= 0.083


def test_a_difference_in_part_of_the_cycle_is_found_there():
    rng = np.random.default_rng(11)
    reference = rng.standard_normal((16, 41))
    bump = np.where((np.arange(41) >= 10) & (np.arange(41) <= 15), 5.0, 0.0)
    result = difference_along_cycle(
        reference + bump + 0.5 * rng.standard_normal((16, 41)), reference, rng=rng
    )
    assert (10, 15) in result.regions
    assert "10 to 15" in result.summary("°")


def test_few_participants_cannot_show_a_difference_and_are_told():
    rng = np.random.default_rng(12)
    result = difference_along_cycle(5 + rng.standard_normal((4, 9)), np.zeros((4, 9)), rng=rng)
    assert result.smallest_p == 1 / 8
    assert result.regions == ()
    assert "cannot show" in result.summary("°")


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda r: curve_band(np.ones((3, 9))), "at least 4 participants are needed, got 3"),
        (lambda r: curve_band(np.ones((30, 9)), ["a"] * 30), "cannot stand in for people"),
        (lambda r: curve_band(np.ones((5, 1))), "at least 2 points"),
        (lambda r: curve_band(np.ones((5, 9)), [1, 2]), "5 rows and `participant` 2"),
        (lambda r: curve_band(np.ones((2, 9)), [1, None]), "missing at index 1"),
        (lambda r: curve_band(np.ones((5, 9)), target="all"), "`target`"),  # type: ignore
        (lambda r: curve_band(np.full((5, 9), np.nan)), "missing or infinite"),
        (
            lambda r: difference_along_cycle(np.ones((5, 9)), np.ones((5, 9)), rng=r, n_patterns=1),
            "`n_patterns`",
        ),
    ],
)
def test_bad_curves_are_named(call, message):
    with pytest.raises(ValueError, match=message):
        call(np.random.default_rng(1))
