"""Multiple correlation of curves.

Sources: Kadaba et al. (1989), J Orthop Res 7:849; Ferrari et al. (2010), Gait Posture 31:540.
Golden values, recomputed: the formula of the papers on closed-form curves: Y1 = 10 sin, one cycle
of 101 points k/101.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.agreement import coefficient_of_multiple_correlation, instrument_multiple_correlation

PHASE = 2 * np.pi * np.arange(101) / 101
SINE = 10 * np.sin(PHASE)
CASES = {
    "offset 0": (SINE, 1.0),
    "offset 1": (SINE + 1, 0.995037),
    "offset 5": (SINE + 5, 0.882541),
    "offset 10": (SINE + 10, 0.580201),
    "gain 0.9": (0.9 * SINE, 0.997248),
    "gain 0.5": (0.5 * SINE, 0.894981),
    "delay 10": (10 * np.sin(PHASE - np.radians(10)), 0.992413),
    "delay 45": (10 * np.sin(PHASE - np.radians(45)), 0.841758),
}


@pytest.mark.parametrize("case", CASES)
def test_one_cycle_of_two_instruments(case):
    other, expected = CASES[case]
    assert_allclose(instrument_multiple_correlation([other], [SINE]).value, expected, atol=1e-6)


def test_undefined_where_its_square_is_negative():
    result = instrument_multiple_correlation([SINE + 20], [SINE])
    assert np.isnan(result.value)
    assert_allclose(result.squared, -0.326733, atol=5e-7)
    assert "undefined" in result.summary()


def test_both_forms_are_one_for_a_single_cycle():
    between = coefficient_of_multiple_correlation([SINE, SINE + 5])
    within = instrument_multiple_correlation([SINE + 5], [SINE])
    assert_allclose(between.squared, within.squared)


def test_variability_between_cycles_does_not_count_between_instruments():
    rng = np.random.default_rng(1)
    curves = SINE + 5 * rng.standard_normal((6, 1))
    assert_allclose(instrument_multiple_correlation(curves, curves).value, 1)
    assert coefficient_of_multiple_correlation(curves).value < 0.9
