"""Bouts, days and bins of a long recording, by arrays with known answers and by laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.cycles.daily_life import DAY_S, Strides, daily_life, joined


def strides(starts: list[float], *, lasts_s: float = 1.0, seed: int = 1) -> Strides:
    rng = np.random.default_rng(seed)
    start = np.asarray(starts, dtype=float)
    return Strides(
        start_s=start,
        end_s=start + lasts_s,
        range_deg=60.0 + rng.normal(size=start.size),
        mean_deg=20.0 + rng.normal(size=start.size),
        with_reference=start < 100.0,
    )


def runs(*pairs: tuple[float, int]) -> list[float]:
    """Return starts of runs of strides of one second: where each run begins, and how many."""
    return [begin + k for begin, n in pairs for k in range(n)]


def test_bouts_of_known_length():
    found = daily_life(strides(runs((10, 12), (30, 2), (50, 40), (95, 3))), [(0.0, 200.0)])
    assert [(b.start_s, b.end_s, b.n_strides) for b in found.bouts] == [
        (10, 22, 12), (50, 90, 40), (95, 98, 3),
    ]  # fmt: skip
    assert found.n_strides == 57  # the two strides alone count among all, and are in no bout
    assert all(b.strides_per_minute == 60.0 for b in found.bouts)


def test_one_stride_left_out_does_not_end_a_bout_and_two_do():
    starts = runs((0, 20))
    one, two = [s for s in starts if s != 8], [s for s in starts if s not in (8, 9)]
    assert len(daily_life(strides(one), [(0.0, 30.0)]).bouts) == 1
    assert len(daily_life(strides(two), [(0.0, 30.0)]).bouts) == 2


def test_days_count_from_the_first_sample_and_hours_leave_gaps_out():
    first, second = 1000.0, 1000.0 + DAY_S + 7200.0
    found = daily_life(
        strides(runs((1010, 5), (second + 10, 7))),
        [(first, first + 3600.0), (second, second + 1800.0)],
    )
    assert [(day.day, day.n_strides, day.n_bouts) for day in found.days] == [(1, 5, 1), (2, 7, 1)]
    assert [day.recorded_h for day in found.days] == pytest.approx([1.0, 0.5])
    assert found.recorded_h == pytest.approx(1.5)
    assert found.duration_h == pytest.approx(24.0 + 2.5)


def test_bins_are_those_of_pandas():
    """pandas.cut, a general-purpose library, puts the same strides into the same bins."""
    rng = np.random.default_rng(4)
    start = np.cumsum(rng.uniform(0.9, 1.9, 400))
    one = replace(
        strides(list(start)), end_s=start + rng.uniform(0.8, 1.6, 400).clip(max=0.89 + 0 * start)
    )
    found = daily_life(one, [(0.0, float(one.end_s[-1]))])
    cut = pd.cut(one.per_minute, [0.0, 40.0, 50.0, 60.0, np.inf], right=False)
    expected = pd.Series(one.range_deg).groupby(cut, observed=False).agg(["size", "median", "std"])
    bins = [each for each in found.bins if each.by == "cadence"]
    assert [each.n_strides for each in bins] == list(expected["size"])
    np.testing.assert_allclose([b.range_deg for b in bins], expected["median"], rtol=1e-12)
    np.testing.assert_allclose([b.range_sd_deg for b in bins], expected["std"], rtol=1e-12)


def test_what_the_reference_saw_is_held_against_the_rest():
    one = strides(runs((0, 100), (500, 50)))
    alike = replace(one, range_deg=np.where(one.with_reference, one.range_deg, 60.0))
    other = replace(one, range_deg=np.where(one.with_reference, one.range_deg, 90.0))
    for each, share in ((alike, 1.0), (other, 0.0)):
        beyond = daily_life(each, [(0.0, 600.0)]).beyond
        assert beyond is not None
        assert (beyond.n_with, beyond.n_without, beyond.share_alike) == (100, 50, share)
        seen = one.range_deg[:100]
        assert beyond.low_range_deg == pytest.approx(np.quantile(seen, 0.025))
        assert beyond.high_range_deg == pytest.approx(np.quantile(seen, 0.975))


def test_without_a_reference_nothing_is_said_beyond_it():
    one = strides(runs((0, 30)))
    for there in (np.zeros(30, dtype=bool), np.ones(30, dtype=bool)):
        assert daily_life(replace(one, with_reference=there), [(0.0, 60.0)]).beyond is None


def test_no_strides_are_an_answer_and_no_recording_is_none():
    nothing = daily_life(strides([]), [(0.0, 7200.0)], unread=["0.00 to 1.00 h: broken"])
    assert (nothing.n_strides, nothing.bouts, nothing.recorded_h) == (0, (), 2.0)
    assert np.isnan(nothing.days[0].range_deg)
    with pytest.raises(ValueError, match="at least one part"):
        daily_life(strides([]), [])
    with pytest.raises(ValueError, match="order of time"):
        daily_life(strides([5.0, 1.0]), [(0.0, 9.0)])


@given(cut=st.integers(1, 149), shift_s=st.floats(-1e6, 1e6))
def test_laws(cut, shift_s):
    """Cutting into stretches changes nothing; a shift of the clock moves times alone."""
    one = strides(runs((0, 100), (500, 50)))

    def part(rows: slice) -> Strides:
        return Strides(*(getattr(one, name)[rows] for name in Strides.__dataclass_fields__))

    whole = daily_life(one, [(0.0, 600.0)])
    again = daily_life(joined([part(slice(0, cut)), part(slice(cut, None))]), [(0.0, 600.0)])
    assert repr(again) == repr(whole)  # numbers that are not known are NaN
    moved = replace(one, start_s=one.start_s + shift_s, end_s=one.end_s + shift_s)
    found = daily_life(moved, [(shift_s, 600.0 + shift_s)])
    assert [b.n_strides for b in found.bouts] == [b.n_strides for b in whole.bouts]
    assert found.beyond is not None
    assert found.beyond.n_without == 50
