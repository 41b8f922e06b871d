"""Bouts: runs of cycles without a pause."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from twinangle.signals.recording import Array, Interval

# Common practice, no source.
# An interval between events above this many typical cycles is a pause, not a cycle.
PAUSE = 2.5
# Stillness above this many typical cycles beside a bout's end is standing.
STANDING = 1.25
LEAST_BOUT = 3


def typical_duration(intervals_s: Array) -> float:
    """Return the commonest duration: the median of the densest quarter on a log scale.

    Pauses and stray movements can outnumber cycles in a long recording, which would carry a
    median away; the mode stays. At least three intervals are used.
    """
    ordered = np.sort(np.log(intervals_s))
    take = min(ordered.size, max(3, ordered.size // 4))
    width = ordered[take - 1 :] - ordered[: ordered.size - take + 1]
    first = int(np.argmin(width))
    return float(np.exp(np.median(ordered[first : first + take])))


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Cycles between neighbouring events, (m,) each, before any is judged."""

    start_s: Array
    end_s: Array
    bout: NDArray[np.int64]  # from 1; 0 where too few cycles follow one another
    before_s: Array  # time without an event before the cycle's bout, where it is the first
    after_s: Array  # likewise after its bout, where it is the last; 0 elsewhere
    pause: NDArray[np.bool_]
    typical_s: float

    def overlap(self, stretch: Interval) -> NDArray[np.bool_]:
        """Return which cycles reach into a stretch, (m,)."""
        return overlapping(self.start_s, self.end_s, stretch)


def overlapping(start_s: Array, end_s: Array, stretch: Interval) -> NDArray[np.bool_]:
    """Return which intervals reach into a stretch."""
    return (start_s < stretch.end_s) & (end_s > stretch.start_s)


def split_into_bouts(
    events_s: Array,
    *,
    keep_pauses: bool,
    stretch_s: tuple[float, float] = (-np.inf, np.inf),
    apart: Sequence[Interval] = (),
) -> Candidates:
    """Pair neighbouring events into cycles and number the bouts.

    Parameters
    ----------
    events_s : ndarray, shape (k,)
        Event times, increasing; at least two.
    keep_pauses : bool
        Whether an interval too long for a cycle stays, marked, instead of being left out.
    stretch_s : (float, float)
        Where to look for the typical duration; everywhere if it holds no interval.
    apart : sequence of Interval
        Stretches that belong to no bout, such as calibration: a cycle that reaches into one is
        of none (bout 0), ends the bout before it and does not tell what is typical.

    Returns
    -------
    Candidates
    """
    interval = np.diff(events_s)
    aside = np.zeros(interval.size, dtype=bool)
    for stretch in apart:
        aside |= overlapping(events_s[:-1], events_s[1:], stretch)
    chosen = (events_s[:-1] >= stretch_s[0]) & (events_s[1:] <= stretch_s[1]) & ~aside
    typical = typical_duration(interval[chosen] if chosen.any() else interval)
    pause = interval > PAUSE * typical
    between = pause | aside
    run = np.concatenate(([0], np.cumsum(between)[:-1])) if pause.size else np.zeros(0)
    # `run` numbers stretches between pauses; the pause itself belongs to the stretch it ends.
    cycle = np.flatnonzero(~between)
    bout = np.zeros(interval.size, dtype=np.int64)
    before, after = np.zeros(interval.size), np.zeros(interval.size)
    number = 0
    for members in np.split(cycle, np.flatnonzero(np.diff(run[cycle])) + 1):
        if members.size == 0:
            continue
        first, last = members[0], members[-1]
        before[first] = interval[first - 1] if first > 0 else np.inf
        after[last] = interval[last + 1] if last < interval.size - 1 else np.inf
        if members.size >= LEAST_BOUT:
            number += 1
            bout[members] = number
    shown = np.arange(interval.size) if keep_pauses else np.flatnonzero(~pause)
    return Candidates(
        start_s=events_s[:-1][shown],
        end_s=events_s[1:][shown],
        bout=bout[shown],
        before_s=before[shown],
        after_s=after[shown],
        pause=pause[shown],
        typical_s=typical,
    )
