"""Which cycles to leave out, each with its reason in words and numbers.

Every rule returns one text a cycle, empty where the rule has no objection. The limits are set
from medians and median absolute deviations (MAD), wide enough that ordinary variability stays
in: with four to six robust standard deviations, next to nothing of a normal spread is cut off,
so the SD over cycles is not made smaller by the rules themselves. Common practice, no source,
for each of the limits.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from twinangle.cycles.bouts import LEAST_BOUT, STANDING, Candidates
from twinangle.cycles.normalise import count_missing
from twinangle.signals.recording import Array, Interval, MaskedStretch
from twinangle.signals.robust import robust_sd
from twinangle.thresholds import told_apart

Reasons = list[str]

TURN_LEAST_DEG = 12.0
TURN_MOST_DEG = 25.0
TURN_SDS = 5.0
BESIDE_TURN_LEAST_DEG = 1.5
BESIDE_TURN_SDS = 2.5
DURATION_SDS = 4.0
DURATION_LEAST = 0.15
CURVE_SDS = 6.0
CURVE_LEAST_MEDIANS = 2.5
CURVE_LEAST_RANGE = 0.03
LEAST_FOR_LIMITS = 5
LEAST_FOR_OWN_LIMITS = 10


def outside(cycles: Candidates, low: float, high: float) -> Reasons:
    """Refuse cycles that reach beyond the stretch to analyse, `low` to `high` seconds."""
    return [
        f"outside: {begin:.2f} to {end:.2f} s is not within {low:g} to {high:g} s"
        if begin < low or end > high
        else ""
        for begin, end in zip(cycles.start_s, cycles.end_s, strict=True)
    ]


def masked(cycles: Candidates, stretches: Sequence[MaskedStretch]) -> Reasons:
    """Refuse cycles that touch a stretch left out by hand, with the reason given for it."""
    reasons = [""] * cycles.start_s.size
    for one in stretches:
        touched = (cycles.start_s <= one.end_s) & (cycles.end_s >= one.start_s)
        for index in np.flatnonzero(touched):
            reasons[index] = reasons[index] or f"masked: {one.reason} ({one.place})"
    return reasons


def calibrations(cycles: Candidates, stretches: Sequence[tuple[str, Interval]]) -> Reasons:
    """Refuse cycles that reach into standing or the functional movement, by the stretch's name."""
    reasons = [""] * cycles.start_s.size
    for name, part in stretches:
        for index in np.flatnonzero(cycles.overlap(part)):
            reasons[index] = (
                f"calibration: reaches into the {name} ({part.start_s:g} to {part.end_s:g} s)"
            )
    return reasons


def gaps(cycles: Candidates, signal: Array, name: str, origin_s: float, rate_hz: float) -> Reasons:
    """Refuse cycles in which a signal lacks samples, or the one beside either end.

    A cycle begins and ends between samples, and its curve needs both of them there.
    """
    clock = {"origin_s": origin_s, "rate_hz": rate_hz}
    missing, total = count_missing(signal, cycles.start_s, cycles.end_s, **clock)
    almost_s = (1 - 1e-5) / rate_hz  # a cycle that ends on a sample needs none beyond it
    wider, _ = count_missing(signal, cycles.start_s - almost_s, cycles.end_s + almost_s, **clock)
    return [
        f"gap: {lack} of {count} samples of {name} are missing"
        if lack
        else f"gap: the sample of {name} beside its start or end is missing"
        if beside
        else ""
        for lack, beside, count in zip(missing, wider, total, strict=True)
    ]


def pauses(cycles: Candidates) -> Reasons:
    """Refuse intervals between given events that are too long for a cycle."""
    return [
        f"pause: {duration:.2f} s between events, typical {cycles.typical_s:.2f} s" if long else ""
        for duration, long in zip(cycles.end_s - cycles.start_s, cycles.pause, strict=True)
    ]


def isolated(cycles: Candidates) -> Reasons:
    """Refuse movements of which too few follow each other."""
    return [
        f"isolated: fewer than {LEAST_BOUT} cycles in a row" if alone else ""
        for alone in ~cycles.pause & (cycles.bout == 0)
    ]


def starts_and_stops(cycles: Candidates, signal: Array, origin_s: float, rate_hz: float) -> Reasons:
    """Refuse the first and last cycle of a bout next to standing, and isolated movements.

    Where the recording (or its signal) begins or ends in mid-movement the neighbouring cycle is
    an ordinary one and stays.
    """
    reasons = isolated(cycles)
    for index in np.flatnonzero((cycles.after_s > 0) & (cycles.bout > 0)):
        begin, limit = cycles.end_s[index], cycles.after_s[index]
        rest = _rest(limit, begin, signal, origin_s, rate_hz, 1)
        if rest > _standing(limit) * cycles.typical_s:
            reasons[index] = (
                f"stop: last cycle of bout {cycles.bout[index]}, {rest:.2f} s of rest after it"
            )
    for index in np.flatnonzero((cycles.before_s > 0) & (cycles.bout > 0)):
        begin, limit = cycles.start_s[index], cycles.before_s[index]
        rest = _rest(limit, begin, signal, origin_s, rate_hz, -1)
        if rest > _standing(limit) * cycles.typical_s:
            reasons[index] = (
                f"start: first cycle of bout {cycles.bout[index]}, {rest:.2f} s of rest before it"
            )
    return reasons


def _standing(limit_s: float) -> float:
    """Typical cycles without an event that mean standing; more at the ends of the recording.

    An event within half a cycle of the end is lost, as its peak is incomplete there.
    """
    return STANDING if np.isfinite(limit_s) else STANDING + 0.5


def _rest(
    limit_s: float, from_s: float, signal: Array, origin_s: float, rate_hz: float, step: int
) -> float:
    """Time without an event beside `from_s`, as far as the signal shows it."""
    index = round((from_s - origin_s) * rate_hz)
    run = signal[index:] if step > 0 else signal[: index + 1][::-1]
    if np.isfinite(limit_s):
        run = run[: int(limit_s * rate_hz) + 1]
    missing = ~np.isfinite(run)
    length = int(np.argmax(missing)) if missing.any() else run.size
    return min(limit_s, max(length - 1, 0) / rate_hz)


def heading_changes(
    cycles: Candidates, vertical_rate_rad_s: Array, origin_s: float, rate_hz: float
) -> Array:
    """Heading change over each cycle in degrees, (m,), from the integrated vertical rate."""
    rate = np.where(np.isfinite(vertical_rate_rad_s), vertical_rate_rad_s, 0.0)
    heading = np.concatenate(([0.0], np.cumsum((rate[1:] + rate[:-1]) / (2 * rate_hz))))
    time = origin_s + np.arange(rate.size) / rate_hz
    return np.asarray(
        np.degrees(
            np.interp(cycles.end_s, time, heading) - np.interp(cycles.start_s, time, heading)
        )
    )


def turns(heading_change_deg: Array, eligible: NDArray[np.bool_]) -> tuple[Reasons, str]:
    """Refuse cycles that turn, and say in a warning when walking is curved throughout.

    A cycle turns when its heading change departs from the median by more than five robust
    standard deviations, but at least 12° and at most 25°. Its neighbours turn too when they
    depart by more than two and a half (at least 1.5°, at most half the limit), and theirs, so
    that the ends of a turn go with it. The median (a bias of the rate, a curved path) is taken
    off only as far as 10°.
    """
    known = heading_change_deg[eligible]
    if known.size == 0:
        return [""] * heading_change_deg.size, ""
    median = float(np.median(known))
    centre = float(np.clip(median, -10.0, 10.0))
    spread = robust_sd(known, median)
    limit = float(np.clip(TURN_SDS * spread, TURN_LEAST_DEG, TURN_MOST_DEG))
    departure = np.abs(heading_change_deg - centre)
    beside = float(np.clip(BESIDE_TURN_SDS * spread, BESIDE_TURN_LEAST_DEG, limit / 2))
    turning = _grow(departure > limit, departure > beside)
    reasons = [
        _turn(change, off, limit, beside) if bad else ""
        for change, off, bad in zip(heading_change_deg, departure, turning, strict=True)
    ]
    curved = (
        f"Half the cycles change heading by {abs(median):.0f}° or more: the path is curved, or the "
        "rate about the vertical has a bias."
        if abs(median) > 10
        else ""
    )
    return reasons, curved


def _turn(change: float, departure: float, limit: float, beside: float) -> str:
    """Say by which of the two limits a cycle counts as part of a turn."""
    whole = departure > limit
    off, bound = told_apart(departure, limit if whole else beside)
    where = "" if whole else " beside a turn"
    return f"turn: heading changed by {change:.0f}°, {off}° off the usual (limit {bound}°{where})"


def _grow(seed: NDArray[np.bool_], wider: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark the runs of `wider` that hold at least one `seed`."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], wider, [False])).astype(np.int8)))
    grown = seed.copy()
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        grown[begin:end] |= seed[begin:end].any()
    return grown


def outlying_durations(
    duration_s: Array, bout: NDArray[np.int64], eligible: NDArray[np.bool_]
) -> Reasons:
    """Refuse durations more than four robust standard deviations (at least 15 %) off the median.

    On a log scale, so that half and double are equally far. A bout with ten ordinary cycles or
    more has limits of its own, the others share theirs (speed differs between bouts).
    """
    reasons = [""] * duration_s.size
    log = np.log(duration_s)
    for members, basis in _groups(bout, eligible):
        centre = float(np.median(log[basis]))
        spread = robust_sd(log[basis], centre)
        reach = max(DURATION_SDS * _wider(basis) * spread, float(np.log1p(DURATION_LEAST)))
        low, high = np.exp(centre - reach), np.exp(centre + reach)
        for index in np.flatnonzero(members & (np.abs(log - centre) > reach)):
            near_low, shortest = told_apart(float(duration_s[index]), float(low), 2)
            near_high, longest = told_apart(float(duration_s[index]), float(high), 2)
            shown = near_low if log[index] < centre else near_high
            reasons[index] = f"duration outlier: {shown} s (limits {shortest} to {longest} s)"
    return reasons


def outlying_curves(
    curves: Array, bout: NDArray[np.int64], eligible: NDArray[np.bool_], name: str
) -> Reasons:
    """Refuse curves far from the median curve.

    The distance is the RMS over the 101 points of the curve minus the median curve. The limit is
    the median distance plus six of its robust standard deviations, at least 2.5 median
    distances and 3 % of the median curve's range. Bouts as for durations.
    """
    reasons = [""] * curves.shape[0]
    for members, basis in _groups(bout, eligible):
        middle = np.median(curves[basis], axis=0)
        distance = np.sqrt(np.mean((curves - middle) ** 2, axis=1))
        centre = float(np.median(distance[basis]))
        spread = robust_sd(distance[basis], centre)
        limit = max(
            centre + CURVE_SDS * _wider(basis) * spread,
            CURVE_LEAST_MEDIANS * _wider(basis) * centre,
            CURVE_LEAST_RANGE * float(np.ptp(middle)),
        )
        for index in np.flatnonzero(members & (distance > limit)):
            apart, bound = told_apart(float(distance[index]), limit)
            reasons[index] = (
                f"curve outlier: {name} is {apart}° RMS from its median curve (limit {bound}°)"
            )
    return reasons


def _groups(
    bout: NDArray[np.int64], eligible: NDArray[np.bool_]
) -> list[tuple[NDArray[np.bool_], NDArray[np.bool_]]]:
    """Pair the cycles that are judged together, and those of them that set the limits."""
    numbers, counts = np.unique(bout[eligible], return_counts=True)
    large = numbers[(counts >= LEAST_FOR_OWN_LIMITS) & (numbers > 0)]
    groups = [(bout == number, (bout == number) & eligible) for number in large]
    rest = ~np.isin(bout, large)
    if eligible.sum() >= LEAST_FOR_LIMITS and rest.any():
        groups.append((rest, eligible))
    return groups


def _wider(basis: NDArray[np.bool_]) -> float:
    """Widen limits that few cycles set: their median absolute deviation is itself uncertain."""
    return 1.0 + 3.0 / float(basis.sum())
