import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from twinangle.agreement import error_budget, pool_budgets
from twinangle.agreement.budget import PARTS

CYCLE = np.linspace(0, 1, 101)
N = 100


def knee(phase: np.ndarray) -> np.ndarray:
    """A stylised knee curve in degrees that repeats."""

    def bump(centre: float, width: float) -> np.ndarray:
        laps = (-1, 0, 1)
        away = np.mod(phase, 1) - centre
        return sum(np.exp(-(((away + lap) / width) ** 2) / 2) for lap in laps)

    return 3 + 14 * bump(0.14, 0.06) + 59 * bump(0.72, 0.09)


def smooth_noise(rng: np.random.Generator) -> np.ndarray:
    rough = rng.standard_normal((N, 121))
    kernel = np.hanning(9)
    noise = np.array([np.convolve(row, kernel, "same") for row in rough])[:, 10:-10]
    return noise / noise.std()


def injected(rng, offset=0.0, gain=1.0, late=0.0, pattern=0.0, wander=0.0, random=0.0):
    """Return test and reference curves with known errors, sizes as root mean squares."""
    level = rng.standard_normal((N, 1))
    mean = knee(CYCLE).mean()
    test = gain * (knee(CYCLE - late / 100) - mean) + mean + offset + level
    test = test + pattern * np.sqrt(2) * np.sin(2 * np.pi * 10 * CYCLE)
    test = test + wander * np.sqrt(2) * np.sin(2 * np.pi * np.arange(N) / 25)[:, None]
    return test + random * smooth_noise(rng), knee(CYCLE) + level


def truth(offset=0.0, gain=1.0, late=0.0, pattern=0.0, wander=0.0, random=0.0) -> dict:
    """The parts by definition: timing is what undoing the shift removes, so it carries the gain."""
    centred = knee(CYCLE) - knee(CYCLE).mean()
    delayed = knee(CYCLE - late / 100) - knee(CYCLE).mean()
    return {
        "offset": offset**2,
        "range": (gain - 1) ** 2 * np.mean(centred**2),
        "timing": gain * np.mean((delayed - centred) ** 2),
        "pattern": pattern**2,
        "wander": wander**2,
        "random": random**2,
    }


SINGLE = {
    "offset": {"offset": 2.0},
    "range": {"gain": 0.92},
    "timing": {"late": 1.5},
    "pattern": {"pattern": 1.5},
    "wander": {"wander": 1.2},
    "random": {"random": 1.5},
}


@pytest.mark.parametrize("part", PARTS)
def test_an_error_injected_alone_is_recovered_within_a_tenth(part):
    errors = SINGLE[part]
    result = error_budget(*injected(np.random.default_rng(1), **errors))
    assert_allclose(getattr(result, part), truth(**errors)[part], rtol=0.1)
    rest = sum(getattr(result, other) for other in PARTS if other != part)
    assert rest < 0.1 * result.total


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("sign", [1, -1])
def test_errors_injected_together_are_recovered_within_a_tenth(seed, sign):
    errors = {
        "offset": 2.0, "gain": 1 + sign * 0.08, "late": 1.5, "pattern": 1.5, "wander": 1.2,
        "random": 1.0,
    }  # fmt: skip
    result = error_budget(*injected(np.random.default_rng(seed), **errors))
    for part, size in truth(**errors).items():
        assert_allclose(getattr(result, part), size, rtol=0.1, err_msg=part)
    assert_allclose(result.gain, errors["gain"], atol=0.01)
    assert_allclose(result.shift, 1.5, atol=0.1)


@given(st.integers(0, 2**32 - 1), st.integers(1, 12))
def test_parts_add_up_and_none_is_negative(seed, n):
    rng = np.random.default_rng(seed)
    test, reference = rng.standard_normal((2, n, 30)).cumsum(axis=2)
    result = error_budget(test, reference)
    parts = np.array([getattr(result, part) for part in PARTS])
    assert_allclose(result.total, np.mean((test - reference) ** 2))
    assert_allclose(parts.sum(), result.total, rtol=1e-9)
    assert (parts >= 0).all()


@given(st.integers(0, 2**32 - 1), st.floats(-20, 20), st.floats(0.1, 10))
def test_constant_moves_the_offset_alone_and_scale_scales_squares(seed, constant, scale):
    rng = np.random.default_rng(seed)
    test, reference = rng.standard_normal((2, 8, 30)).cumsum(axis=2)
    before = error_budget(test, reference)
    shifted = error_budget(test + constant, reference)
    scaled = error_budget(scale * test, scale * reference)
    for part in PARTS[1:]:
        assert_allclose(getattr(shifted, part), getattr(before, part), atol=1e-6)
        assert_allclose(getattr(scaled, part), scale**2 * getattr(before, part), rtol=1e-4)


def test_equal_curves_have_no_difference():
    curves = knee(CYCLE) + np.arange(4)[:, None]
    result = error_budget(curves, curves)
    assert result.total == 0
    assert result.share("timing") == 0


def test_constant_reference_has_no_gain():
    result = error_budget(np.tile(knee(CYCLE), (3, 1)), np.zeros((3, 101)))
    assert np.isnan(result.gain)
    assert result.pattern > 0


def test_few_cycles_cannot_tell_wander_and_say_so():
    rng = np.random.default_rng(1)
    result = error_budget(rng.standard_normal((3, 20)), rng.standard_normal((3, 20)))
    assert result.wander == 0
    assert any("Fewer than 6 cycles" in text for text in result.assumptions)


def test_pooled_parts_are_means_and_add_up():
    rng = np.random.default_rng(2)
    budgets = [error_budget(*injected(rng, offset=o, random=1.0)) for o in (2.0, -2.0)]
    pooled = pool_budgets(budgets)
    assert_allclose(pooled.offset, 4, rtol=0.1)
    assert_allclose(sum(getattr(pooled, part) for part in PARTS), pooled.total)
    assert "2 participants" in pooled.summary("°")
    assert "offset" in budgets[0].summary("°")


def test_bad_input_is_named():
    with pytest.raises(ValueError, match="at least 8 points"):
        error_budget(np.ones((3, 5)), np.ones((3, 5)))
    with pytest.raises(ValueError, match="`part` must be one of offset"):
        error_budget(np.ones((3, 9)), np.ones((3, 9))).share("gain")
    with pytest.raises(ValueError, match="`budgets` is empty"):
        pool_budgets([])


@given(st.integers(0, 2**32 - 1), st.floats(0.1, 10))
def test_intervals_of_parts_scale_as_squares_and_hold_the_part(seed, scale):
    rng = np.random.default_rng(seed)
    test, reference = rng.standard_normal((2, 9, 30)).cumsum(axis=2)
    before, after = error_budget(test, reference), error_budget(scale * test, scale * reference)
    for part in ("total", *PARTS):
        low, high = getattr(before, f"{part}_ci")
        if np.isfinite(low):
            assert 0 <= low <= getattr(before, part) <= high
        scaled = scale**2 * np.array([low, high])
        assert_allclose(getattr(after, f"{part}_ci"), scaled, rtol=1e-3, atol=1e-9)


@pytest.mark.parametrize("part", ["range", "timing", "pattern", "random", "total"])
def test_interval_of_a_part_holds_the_injected_error(part):
    errors = {"offset": 2.0, "gain": 1.08, "late": 1.5, "pattern": 1.5, "random": 1.0}
    true = truth(**errors)
    true["total"] = sum(true.values())
    held = 0
    for seed in range(20):
        low, high = getattr(
            error_budget(*injected(np.random.default_rng(seed), **errors)), part + "_ci"
        )
        held += low <= true[part] <= high
    assert held >= 17  # a nominal 95 % of 20; fewer happens once in 400 tries


def test_five_cycles_have_no_intervals():
    rng = np.random.default_rng(1)
    result = error_budget(rng.standard_normal((5, 20)), rng.standard_normal((5, 20)))
    assert np.isnan(result.total_ci).all()
    assert np.isnan(result.gain_ci).all()


def test_pooled_intervals_are_over_participants_and_say_none_below_four():
    rng = np.random.default_rng(2)
    budgets = [error_budget(*injected(rng, offset=o, random=1.0)) for o in (2.0, -1.0, 1.5, 0.7)]
    pooled = pool_budgets(budgets)
    low, high = pooled.offset_ci
    assert 0 < low < pooled.offset < high
    mirrored = pool_budgets(budgets[::-1])
    assert_allclose(mirrored.offset_ci, pooled.offset_ci)
    assert np.isnan(pool_budgets(budgets[:3]).offset_ci).all()
    wander = error_budget(*injected(rng, wander=1.2))
    assert any("level wanders" in text for text in wander.assumptions)
