"""Cutting at events: exactness, gaps and ends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.interpolate import BarycentricInterpolator

from twinangle.cycles import CYCLE_PERCENT
from twinangle.cycles.bouts import split_into_bouts, typical_duration
from twinangle.cycles.normalise import count_missing, cut

FEW = settings(max_examples=25, deadline=None, derandomize=True)


@FEW
@given(
    start_s=st.floats(3.05, 4.0),
    duration_s=st.floats(0.3, 2.0),
    factors=st.lists(st.floats(-5, 5), min_size=4, max_size=4),
)
def test_cubics_are_cut_exactly(start_s, duration_s, factors):
    # Four-point Lagrange interpolation is exact for cubics (Abramowitz & Stegun 25.2.13).
    cubic = np.polynomial.Polynomial(factors)
    time = 3.0 + np.arange(400) / 100
    end_s = start_s + duration_s
    curve = cut(cubic(time), np.array([start_s]), np.array([end_s]), origin_s=3.0, rate_hz=100.0)[0]

    assert_allclose(curve, cubic(start_s + duration_s * CYCLE_PERCENT / 100), rtol=1e-6, atol=1e-6)


def test_between_samples_it_is_the_polynomial_through_four():
    values = np.random.default_rng(0).standard_normal(12)
    curve = cut(values, np.array([4.0]), np.array([6.0]), origin_s=0.0, rate_hz=1.0)[0]

    # scipy's barycentric interpolator through samples 3 to 6, at 4.0 to 5.0.
    expected = BarycentricInterpolator(np.arange(3, 7), values[3:7])(4 + np.arange(51) / 50)
    assert_allclose(curve[:51], expected, atol=1e-12)


def test_a_cycle_of_the_whole_signal_reaches_both_ends():
    values = np.arange(101.0)
    curve = cut(values, np.array([0.0]), np.array([10.0]), origin_s=0.0, rate_hz=10.0)[0]

    assert_allclose(curve, values)


def test_beyond_the_signal_there_is_nothing():
    curve = cut(np.arange(50.0), np.array([4.0]), np.array([6.0]), origin_s=0.0, rate_hz=10.0)[0]

    assert_allclose(curve[:46], 40 + 0.2 * np.arange(46))
    assert np.isnan(curve[46:]).all()


def test_a_gap_does_not_spread_past_its_neighbours():
    values = np.sin(np.arange(100) / 5)
    values[50] = np.nan
    curve = cut(values, np.array([40.0]), np.array([60.0]), origin_s=0.0, rate_hz=1.0)[0]

    # 49 to 51 s is 45 to 55 % of the cycle.
    assert np.isnan(curve[46:55]).all()
    outside = np.delete(np.arange(101), np.arange(46, 55))
    assert_allclose(curve[outside], np.sin((40 + 0.2 * outside) / 5), atol=0.005)


def test_missing_samples_are_counted_within_each_cycle_and_beyond_the_ends():
    values = np.zeros(100)
    values[[20, 21, 55]] = np.nan
    start, end = np.array([1.0, 3.0, 5.0, 9.0]), np.array([3.0, 5.0, 7.0, 11.0])
    missing, total = count_missing(values, start, end, origin_s=0.0, rate_hz=10.0)

    assert missing.tolist() == [2, 0, 1, 11]
    assert total.tolist() == [21, 21, 21, 21]


def test_the_typical_duration_ignores_pauses_that_outnumber_cycles():
    rng = np.random.default_rng(1)
    strides, pauses = rng.normal(1.1, 0.03, 60), rng.uniform(3, 600, 100)

    assert typical_duration(np.concatenate([strides, pauses])) == pytest.approx(1.1, abs=0.05)


def test_bouts_are_numbered_and_isolated_movement_is_not():
    walk = np.arange(10) * 1.1
    events = np.concatenate([walk, [40.0, 41.0], 80 + walk, [200.0]])
    cycles = split_into_bouts(events, keep_pauses=False)

    assert cycles.bout.tolist() == [1] * 9 + [0] + [2] * 9
    assert cycles.typical_s == pytest.approx(1.1)


def test_given_intervals_all_stay():
    events = np.array([0.0, 1, 2, 3, 9, 10, 11, 12])
    cycles = split_into_bouts(events, keep_pauses=True)

    assert cycles.start_s.size == 7
    assert np.flatnonzero(cycles.pause).tolist() == [3]
