"""Bouts, days and bins of a long recording, by arrays with known answers and by laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.cycles.daily_life import DAY_S, daily_life
from twinangle.cycles.day_strides import Strides, joined, strides_of
from twinangle.signals.recording import CycleSet


def strides(starts: list[float], *, lasts_s: float = 1.0, seed: int = 1) -> Strides:
    rng = np.random.default_rng(seed)
    start = np.asarray(starts, dtype=float)
    return Strides(
        start_s=start,
        end_s=start + lasts_s,
        range_deg=60.0 + rng.normal(size=start.size),
        mean_deg=20.0 + rng.normal(size=start.size),
        with_reference=start < 100.0,
        kept=np.ones(start.size, dtype=bool),
    )


def walk(*marks: str, begin_s: float = 0.0, bout: int = 1) -> CycleSet:
    """Return strides of one second that follow one another, each with its reason or none."""
    start = begin_s + np.arange(len(marks), dtype=float)
    curves = np.tile(np.array([0.0, 60.0, 0.0]), (start.size, 1))
    return CycleSet(
        start_s=start,
        end_s=start + 1.0,
        reason=tuple(f"{mark}: as invented" if mark else "" for mark in marks),
        wearable_deg=np.where(np.array([bool(m) for m in marks])[:, None], np.nan, curves),
        reference_deg=None,
        method="by hand",
        bout=np.full(start.size, bout, dtype=np.int64),
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


def test_a_bout_goes_on_through_turns_and_outliers_and_ends_with_a_pause():
    """As cycles are numbered: one walk up and down is one bout, however often it turns."""
    turns, odd = ["turn"] * 4, ["curve outlier", "duration outlier", "by hand"]
    leg = [""] * 10
    marks = ["start", *leg, *turns, *leg, *odd, *leg, *turns, "", "", "stop"]
    again = walk("start", *leg, "stop", begin_s=80.0, bout=2)
    parts = [strides_of(cycles, np.zeros(0)) for cycles in (walk(*marks), again)]
    found = daily_life(joined(parts), [(0.0, 100.0)])
    assert [(b.start_s, b.end_s, b.n_strides, b.n_left_out) for b in found.bouts] == [
        (0.0, 45.0, 32, 13), (80.0, 92.0, 10, 2),
    ]  # fmt: skip
    assert found.bouts[0].range_deg == 60.0  # of those kept: the others' curves are missing here
    by_duration = {one.low: one.n_strides for one in found.bins if one.by == "bout duration"}
    assert by_duration == {0.0: 0, 10.0: 10, 30.0: 32, 60.0: 0, 120.0: 0}
    by_cadence = [one for one in found.bins if one.by == "cadence"]
    assert sum(one.n_strides for one in by_cadence) == found.n_strides == 42
    (day,) = found.days
    assert (day.n_bouts, day.n_strides, day.walking_min) == (2, 42, pytest.approx(57.0 / 60.0))


@pytest.mark.parametrize("kind", ["masked", "gap", "calibration", "pause", "isolated"])
def test_what_is_no_walking_is_no_part_of_a_bout(kind):
    """Hidden or elsewhere for two strides: nobody knows that the walk went on."""
    cycles = walk(kind, *[""] * 5, kind, kind, "turn", *[""] * 5, kind)
    found = daily_life(strides_of(cycles, np.zeros(0)), [(0.0, 30.0)])
    assert [(b.start_s, b.end_s, b.n_left_out) for b in found.bouts] == [(1, 6, 0), (8, 14, 1)]
    one = walk(*[""] * 5, kind, *[""] * 5)
    assert len(daily_life(strides_of(one, np.zeros(0)), [(0.0, 30.0)]).bouts) == 1


def test_movement_of_no_bout_prolongs_none_and_few_kept_strides_make_none():
    few = walk("start", "", "", "turn", "turn", "stop")
    none = walk(*["turn"] * 8, bout=0)
    for cycles in (few, none):
        found = daily_life(strides_of(cycles, np.zeros(0)), [(0.0, 30.0)])
        assert found.bouts == ()
        assert found.n_strides == cycles.kept.sum()
    assert strides_of(none, np.zeros(0)).start_s.size == 0


def test_only_kept_strides_are_held_against_the_reference():
    cycles = walk(*[""] * 6, *["turn"] * 4, *[""] * 6)
    compared = cycles.start_s[:8]  # two of them kept with the reference, left out alone
    beyond = daily_life(strides_of(cycles, compared), [(0.0, 30.0)]).beyond
    assert beyond is not None
    assert (beyond.n_with, beyond.n_without, beyond.share_alike) == (6, 6, 1.0)


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
    one = replace(one, kept=np.arange(150) % 9 > 2)
    before = np.arange(150) < cut
    whole = daily_life(one, [(0.0, 600.0)])
    again = daily_life(joined([one.chosen(before), one.chosen(~before)]), [(0.0, 600.0)])
    assert repr(again) == repr(whole)  # numbers that are not known are NaN
    moved = replace(one, start_s=one.start_s + shift_s, end_s=one.end_s + shift_s)
    found = daily_life(moved, [(shift_s, 600.0 + shift_s)])
    assert [b.n_strides for b in found.bouts] == [b.n_strides for b in whole.bouts]
    assert [b.n_strides + b.n_left_out for b in found.bouts] == [100, 50]
    assert found.beyond is not None
    assert found.beyond.n_without == one.kept[100:].sum()
