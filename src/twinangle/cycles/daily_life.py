"""Walking over a day or a week: bouts, days, durations and cadences, and what was validated.

Speed is not measured by two sensors on a leg; the rate of strides stands where a speed would.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from twinangle.cycles.bouts import LEAST_BOUT, PAUSE
from twinangle.cycles.day_strides import Strides
from twinangle.declare import WhereGiven, measured, number
from twinangle.signals.recording import Array

DAY_S = 86_400.0
# Edges of the bins; common practice, no source.
DURATION_EDGES_S = (0.0, 10.0, 30.0, 60.0, 120.0, np.inf)
CADENCE_EDGES = (0.0, 40.0, 50.0, 60.0, np.inf)  # strides a minute; twice as many steps
VALIDATED_SHARE = 0.95  # the middle share of the strides with a reference: what was tried


@dataclass(frozen=True, slots=True)
class WalkingBout:
    """A walk without a pause, with three or more kept strides in it."""

    start_s: Annotated[float, measured("s", "start of the walk's first stride, kept or not")]
    end_s: Annotated[float, measured("s", "end of the walk's last stride, kept or not")]
    n_strides: Annotated[int, number("strides kept of the bout")]
    strides_per_minute: Annotated[
        float, measured("per_minute", "strides a minute, from the kept ones' median duration")
    ]
    range_deg: Annotated[float, measured("deg", "median range of motion of the kept strides")]
    mean_deg: Annotated[float, measured("deg", "median of the kept strides' mean angles")]
    n_left_out: Annotated[
        int,
        number("strides of the bout left out: turns, start, stop, outliers, by hand"),
        WhereGiven(0),
    ] = 0


@dataclass(frozen=True, slots=True)
class DayOfWalking:
    """24 hours from the beginning of the recording; the last may be shorter."""

    day: Annotated[int, number("number of the day, from 1, counted from the recording's start")]
    recorded_h: Annotated[float, measured("h", "hours of that day with samples of the wearable")]
    n_bouts: Annotated[int, number("bouts that begin on that day")]
    n_strides: Annotated[int, number("kept strides that begin on that day")]
    walking_min: Annotated[float, measured("min", "minutes from start to end of the bouts")]
    strides_per_minute: Annotated[
        float, measured("per_minute", "strides a minute, from their median duration")
    ]
    range_deg: Annotated[float, measured("deg", "median range of motion of the strides")]
    range_sd_deg: Annotated[float, measured("deg", "SD of the ranges of motion (n - 1)")]
    mean_deg: Annotated[float, measured("deg", "median of the strides' mean angles")]


@dataclass(frozen=True, slots=True)
class BinOfStrides:
    """The kept strides in bouts of some duration, or at some cadence."""

    by: Annotated[str, number("what the bins are of: bout duration or cadence")]
    low: Annotated[float, number("lower edge, s or strides a minute; belongs to the bin")]
    high: Annotated[float, number("upper edge, likewise; null for none")]
    n_bouts: Annotated[int, number("bouts in the bin, or that have a stride in it")]
    n_strides: Annotated[int, number("strides in the bin")]
    n_with_reference: Annotated[int, number("those with a reference")]
    range_deg: Annotated[float, measured("deg", "median range of motion of the strides")]
    range_sd_deg: Annotated[float, measured("deg", "SD of the ranges of motion (n - 1)")]


@dataclass(frozen=True, slots=True)
class BeyondReference:
    """How the strides without a reference compare with those that had one."""

    n_with: Annotated[int, number("strides with a reference")]
    n_without: Annotated[int, number("strides without one")]
    low_per_minute: Annotated[
        float, measured("per_minute", "2.5th percentile of the cadence with a reference")
    ]
    high_per_minute: Annotated[float, measured("per_minute", "97.5th percentile, likewise")]
    low_range_deg: Annotated[
        float, measured("deg", "2.5th percentile of the range of motion with a reference")
    ]
    high_range_deg: Annotated[float, measured("deg", "97.5th percentile, likewise")]
    share_alike: Annotated[
        float, number("share of the strides without a reference within both, from 0 to 1")
    ]


@dataclass(frozen=True, slots=True)
class ChosenStride:
    """A cycle that a decision takes out or in."""

    decided_s: Annotated[float, measured("s", "start of the cycle as it was decided on")]
    start_s: Annotated[float, measured("s", "start of the cycle that it names")]
    use: Annotated[bool, number("whether the cycle is to be used")]
    why: Annotated[str, number("the reason given")]


@dataclass(frozen=True, slots=True)
class DailyLife:
    """What a long recording says of walking in daily life."""

    duration_h: Annotated[float, measured("h", "from the first to the last sample")]
    recorded_h: Annotated[float, measured("h", "hours with samples of the wearable")]
    n_stretches: Annotated[int, number("stretches it was read in")]
    unread: Annotated[
        tuple[str, ...], number("stretches that could not be analysed, each with its reason")
    ]
    n_strides: Annotated[int, number("strides kept")]
    n_left_out: Annotated[int, number("cycles found and left out")]
    bouts: Annotated[tuple[WalkingBout, ...], number("every bout")]
    days: Annotated[tuple[DayOfWalking, ...], number("day by day")]
    bins: Annotated[tuple[BinOfStrides, ...], number("by bout duration and by cadence")]
    beyond: Annotated[
        BeyondReference | None,
        number("strides without a reference beside those with one; null without either"),
    ]
    by_hand: Annotated[
        tuple[ChosenStride, ...], number("cycles that decisions take out or in"), WhereGiven(())
    ] = ()


def daily_life(
    strides: Strides,
    recorded: Sequence[tuple[float, float]],
    *,
    n_left_out: int = 0,
    unread: Sequence[str] = (),
    n_stretches: int = 1,
) -> DailyLife:
    """Summarise walking over a long recording.

    Parameters
    ----------
    strides : Strides
        In order of time.
    recorded : sequence of (float, float)
        Beginning and end of each part with samples, in seconds, in order.
    n_left_out : int
        Cycles found and left out.
    unread : sequence of str
        Why parts could not be analysed.
    n_stretches : int
        Of how many stretches it is made.

    Returns
    -------
    DailyLife

    Raises
    ------
    ValueError
        If nothing was recorded, or strides are not in order of time.

    Notes
    -----
    A bout is a walk, as cycles are numbered: it goes on through strides that were left out as turn,
    outlier or by hand, over the border of two stretches too, and ends with a pause. At least three
    of its strides are kept. A pause, and what is not known to be walking (masked, missing samples),
    ends it where the next stride begins more than 1.5 median strides
    (:data:`twinangle.cycles.bouts.PAUSE` less a stride) after the end of the one before; own rule,
    no source. Start, end and duration are the walk's; counts, medians and SDs are of its kept
    strides. Days are 24 hours from the first sample, not calendar days.
    """
    if not recorded:
        raise ValueError("`recorded` must hold at least one part.")
    if (np.diff(strides.start_s) < 0).any():
        raise ValueError("`strides` must be in order of time.")
    begin, end = recorded[0][0], recorded[-1][1]
    members = _bouts(strides)
    bouts = tuple(_bout(strides, rows) for rows in members)
    return DailyLife(
        duration_h=(end - begin) / 3600.0,
        recorded_h=sum(high - low for low, high in recorded) / 3600.0,
        n_stretches=n_stretches,
        unread=tuple(unread),
        n_strides=int(strides.kept.sum()),
        n_left_out=n_left_out,
        bouts=bouts,
        days=tuple(_days(strides, bouts, recorded, begin, end)),
        bins=(*_by_duration(strides, members), *_by_cadence(strides, members)),
        beyond=_beyond(strides),
    )


def _bouts(strides: Strides) -> list[slice]:
    """Return the rows of each walk with at least three kept strides."""
    if not strides.kept.any():
        return []
    pause = (PAUSE - 1.0) * float(np.median(strides.duration_s[strides.kept]))
    breaks = np.flatnonzero(strides.start_s[1:] - strides.end_s[:-1] > pause) + 1
    edges = [0, *(int(k) for k in breaks), int(strides.start_s.size)]
    walks = [slice(low, high) for low, high in pairwise(edges)]
    return [rows for rows in walks if strides.kept[rows].sum() >= LEAST_BOUT]


def _bout(strides: Strides, rows: slice) -> WalkingBout:
    kept = strides.kept[rows]
    return WalkingBout(
        start_s=float(strides.start_s[rows][0]),
        end_s=float(strides.end_s[rows][-1]),
        n_strides=int(kept.sum()),
        strides_per_minute=_median(strides.per_minute[rows][kept]),
        range_deg=_median(strides.range_deg[rows][kept]),
        mean_deg=_median(strides.mean_deg[rows][kept]),
        n_left_out=int((~kept).sum()),
    )


def _days(
    strides: Strides,
    bouts: Sequence[WalkingBout],
    recorded: Sequence[tuple[float, float]],
    begin: float,
    end: float,
) -> list[DayOfWalking]:
    found = []
    for k in range(max(int(np.ceil((end - begin) / DAY_S)), 1)):
        low, high = begin + k * DAY_S, begin + (k + 1) * DAY_S
        on = strides.kept & (strides.start_s >= low) & (strides.start_s < high)
        own = [bout for bout in bouts if low <= bout.start_s < high]
        hours = sum(max(min(b, high) - max(a, low), 0.0) for a, b in recorded) / 3600.0
        found.append(
            DayOfWalking(
                day=k + 1,
                recorded_h=hours,
                n_bouts=len(own),
                n_strides=int(on.sum()),
                walking_min=sum(bout.end_s - bout.start_s for bout in own) / 60.0,
                strides_per_minute=_median(strides.per_minute[on]),
                range_deg=_median(strides.range_deg[on]),
                range_sd_deg=_sd(strides.range_deg[on]),
                mean_deg=_median(strides.mean_deg[on]),
            )
        )
    return found


def _by_duration(strides: Strides, members: Sequence[slice]) -> list[BinOfStrides]:
    lasts = np.array([strides.end_s[rows][-1] - strides.start_s[rows][0] for rows in members])
    found = []
    for low, high in pairwise(DURATION_EDGES_S):
        chosen = [rows for rows, s in zip(members, lasts, strict=True) if low <= s < high]
        on = np.zeros(strides.start_s.size, dtype=bool)
        for rows in chosen:
            on[rows] = strides.kept[rows]
        found.append(_bin(strides, "bout duration", (low, high), on, len(chosen)))
    return found


def _by_cadence(strides: Strides, members: Sequence[slice]) -> list[BinOfStrides]:
    found = []
    for low, high in pairwise(CADENCE_EDGES):
        on = strides.kept & (strides.per_minute >= low) & (strides.per_minute < high)
        n_bouts = sum(bool(on[rows].any()) for rows in members)
        found.append(_bin(strides, "cadence", (low, high), on, n_bouts))
    return found


def _bin(
    strides: Strides, by: str, edges: tuple[float, float], on: NDArray[np.bool_], n_bouts: int
) -> BinOfStrides:
    low, high = edges
    return BinOfStrides(
        by=by,
        low=low,
        high=high if np.isfinite(high) else float("nan"),
        n_bouts=n_bouts,
        n_strides=int(on.sum()),
        n_with_reference=int((on & strides.with_reference).sum()),
        range_deg=_median(strides.range_deg[on]),
        range_sd_deg=_sd(strides.range_deg[on]),
    )


def _beyond(strides: Strides) -> BeyondReference | None:
    """Hold the kept strides without a reference against the middle of those with one."""
    strides = strides.chosen(strides.kept)
    there = strides.with_reference
    if there.sum() < LEAST_BOUT or there.all():
        return None
    tails = (50.0 * (1 - VALIDATED_SHARE), 50.0 * (1 + VALIDATED_SHARE))
    slow, fast = (float(x) for x in np.percentile(strides.per_minute[there], tails))
    small, large = (float(x) for x in np.percentile(strides.range_deg[there], tails))
    rate, size = strides.per_minute[~there], strides.range_deg[~there]
    alike = (rate >= slow) & (rate <= fast) & (size >= small) & (size <= large)
    return BeyondReference(
        n_with=int(there.sum()),
        n_without=int((~there).sum()),
        low_per_minute=slow,
        high_per_minute=fast,
        low_range_deg=small,
        high_range_deg=large,
        share_alike=float(alike.mean()),
    )


def _median(values: Array) -> float:
    return float(np.median(values)) if values.size else float("nan")


def _sd(values: Array) -> float:
    return float(values.std(ddof=1)) if values.size > 1 else float("nan")
