import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from twinangle.plotting.thinning import (
    envelope,
    joined,
    means_left_out,
    thinned,
    thinned_pair,
)
from twinangle.signals.recording import CycleSet, PairedAngles


@pytest.mark.parametrize("n", [10, 2399, 2400, 2401, 100_003])
def test_envelope_keeps_extremes_and_order(n):
    rng = np.random.default_rng(n)
    time, values = np.arange(n) / 100, rng.normal(size=n).cumsum()
    x, y = envelope(time, values)
    assert x.size == y.size <= max(2400, 0)
    assert (y.min(), y.max()) == (values.min(), values.max())
    assert np.all(np.diff(x) > 0)
    assert time[0] <= x[0]
    assert x[-1] <= time[-1]


def test_envelope_keeps_gaps():
    values = np.ones(50_000)
    values[10_000:20_000] = np.nan
    x, y = envelope(np.arange(50_000.0), values)
    inside = (x > 10_100) & (x < 19_900)
    assert np.isnan(y[inside]).all()
    outside = y[(x < 9_900) | (x > 20_100)]
    assert outside.size > 100
    assert (outside == 1).all()


def test_joined_curves_lift_the_pen_between_cycles():
    x, y = joined(np.arange(12.0).reshape(3, 4))
    assert np.isnan(y[4::5]).all()
    assert_array_equal(y.reshape(3, 5)[:, :4], np.arange(12.0).reshape(3, 4))
    assert np.isnan(x).sum() == 3


def test_thinning_keeps_the_ends():
    rows = thinned(np.arange(1000), 120)
    assert rows.size == 120
    assert (rows[0], rows[-1]) == (0, 999)


def times_of(thin):
    """The times of a thinned trace's points, as the page's script works them out."""
    times, point = [], 0
    while len(times) < len(thin.wearable):
        times.append(thin.first_s + point * thin.step_s)
        if thin.bin_s and point % 2 == 1 and (point - 1) // 2 in thin.breaks:
            times.append(thin.first_s + (point + 0.5) * thin.step_s)
        point += 1
    return np.array(times)


def test_a_short_pair_is_every_sample_to_a_tenth():
    values = np.array([0.04, 1.26, np.nan, -3.0])
    thin = thinned_pair(PairedAngles(values, None, 2.0, 100.0), 100)
    assert thin.wearable == (0, 13, None, -30)
    assert thin.reference is None
    assert times_of(thin) == pytest.approx([2.0, 2.01, 2.02, 2.03])
    assert thin.wearable_range == (-3.0, 1.26)
    assert thin.wearable_missing_s == pytest.approx(0.01)


@given(
    st.lists(st.one_of(st.none(), st.floats(-90, 90)), min_size=2, max_size=300),
    st.integers(2, 40),
    st.integers(0, 2**32 - 1),
)
def test_no_peak_is_lost_and_no_gap_is_bridged(samples, points, seed):
    """Laws: extremes stay to a tenth; between two points that a line joins, no bin is empty."""
    values = np.array([np.nan if each is None else each for each in samples])
    reference = np.random.default_rng(seed).normal(size=values.size)
    thin = thinned_pair(PairedAngles(values, reference, 0.0, 50.0), points)
    times = times_of(thin)
    assert len(thin.reference) == len(thin.wearable) == times.size
    assert np.all(np.diff(times) > 0)
    drawn = np.array([np.nan if each is None else each / 10 for each in thin.wearable])
    assert np.isfinite(drawn).any() == np.isfinite(values).any()
    if np.isfinite(values).any():
        extremes = [np.nanmin(drawn), np.nanmax(drawn)]
        assert extremes == pytest.approx([np.nanmin(values), np.nanmax(values)], abs=0.051)
    length = thin.bin_s or 1 / 50
    missing = np.flatnonzero(np.isnan(values)) / 50
    for a, b in zip(range(times.size - 1), range(1, times.size), strict=True):
        if np.isfinite(drawn[a]) and np.isfinite(drawn[b]):
            between = (missing > times[a] + length) & (missing < times[b] - length)
            assert not between.any()
    per_bin = len(thin.wearable) - len(thin.breaks)
    assert per_bin <= max(points, 2) + 2


def test_a_gap_within_a_bin_ends_the_line_and_leaves_the_other_trace_whole():
    values = np.arange(12.0)
    gap = values.copy()
    gap[5] = np.nan
    thin = thinned_pair(PairedAngles(gap, values, 0.0, 1.0), 6)  # bins of four
    assert thin.breaks == (1,)
    assert thin.wearable == (0, 30, 40, 70, None, 80, 110)
    assert thin.reference == (0, 30, 40, 70, 70, 80, 110)


def test_left_out_means_are_of_whole_cycles_only():
    curves = np.array([[0.0, 2.0], [4.0, 6.0], [np.nan, 9.0], [8.0, 8.0]])
    cycles = CycleSet(
        np.arange(4.0), np.arange(1.0, 5), ("", "turn", "gap", "turn"), curves, curves + 1, "m"
    )
    n, wearable, reference = means_left_out(cycles)
    assert n == 2
    assert_array_equal(wearable, [6.0, 7.0])
    assert_array_equal(reference, [7.0, 8.0])
    kept = CycleSet(np.arange(1.0), np.arange(1.0, 2), ("",), curves[:1], None, "m")
    assert means_left_out(kept) == (0, None, None)
