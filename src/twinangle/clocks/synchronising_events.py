"""One clock from events done on purpose: a jump, a stamp or heel taps at start and end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np

from twinangle.clocks.band import BandLimited
from twinangle.clocks.clockfit import ClockLine, fit_line
from twinangle.clocks.correlation import local_maxima
from twinangle.clocks.search import prepare, search_lags
from twinangle.errors import SynchronisationError
from twinangle.notices import Notice
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    InertialRecording,
    Interval,
    Synchronisation,
)
from twinangle.thresholds import told_apart

# Common practice, no source.
_DRIFT_MAX = 300e-6  # of two clocks against each other
_SLACK_S = 0.05
_LEAST_CORRELATION = 0.8
_LEAST_GAP = 0.1  # by which the events' mean correlation must exceed that of the next-best lag
_APART_S = 0.3  # lags nearer than this are one and the same
_STANDS_OUT = 1.5
_BLOCK_S = 0.4
EDGE_S = 30.0  # of a recording at either end, where an impact is looked for


@dataclass(frozen=True, slots=True)
class _Match:
    """One lag at which one event may lie, with its correlation."""

    lag_s: float
    correlation: float


def find_events(
    sensor: InertialRecording, *, edge_s: float = EDGE_S, margin_s: float = 2.0
) -> tuple[Interval, ...]:
    """Find an impact near the start and one near the end of a sensor's acceleration.

    The largest departure of the acceleration's norm from its median in the first `edge_s`, and in
    the last, each the middle of an interval of ± `margin_s`. An impact counts when it is at least
    1.5 times the 99th percentile of the departure between the two edges (walking has impacts of
    its own; the factor is a choice of this program). In a recording shorter than both edges these
    are its halves, and an impact in the middle counts once.

    Parameters
    ----------
    sensor : InertialRecording
        The one that was struck or stamped with.
    edge_s : float, default 30
        How far from either end an impact may lie, in seconds.
    margin_s : float, default 2
        Half the length of an interval, in seconds.

    Returns
    -------
    tuple of Interval
        One or two, on the sensor's clock.

    Raises
    ------
    SynchronisationError
        If neither edge holds an impact that stands out.
    """
    norm = np.linalg.norm(sensor.accelerometer, axis=1)
    known = np.isfinite(norm)
    departure = np.where(known, np.abs(norm - np.median(norm[known])), 0.0)
    time = sensor.time_s
    edge_s = min(edge_s, 0.5 * float(time[-1] - time[0]))
    first, last = time <= time[0] + edge_s, time >= time[-1] - edge_s
    between = ~(first | last)
    usual = float(np.percentile(departure[between if between.any() else known], 99))
    found = []
    for edge in (first, last):
        top = int(np.argmax(np.where(edge, departure, -1.0)))
        if departure[top] >= _STANDS_OUT * usual:
            found.append(Interval(float(time[top]) - margin_s, float(time[top]) + margin_s))
    if not found:
        strongest = float(np.max(departure[~between], initial=0.0))
        reached, needed = told_apart(strongest, _STANDS_OUT * usual)
        raise SynchronisationError(
            f"{sensor.source}: no impact stands out in the first or last {edge_s:g} s (the "
            f"strongest reaches {reached} m/s², {needed} is needed: {_STANDS_OUT:g} times the "
            "usual between them). Jump, stamp or tap the heel at start and end (whom to "
            "spare it: docs/how-to/recording.md), or give the "
            "stretches that hold the events."
        )
    if len(found) > 1 and found[1].start_s < found[0].end_s:
        return (Interval(found[0].start_s, found[1].end_s),)
    return tuple(found)


def event(
    wearable: AngleRecording,
    reference: AngleRecording,
    events: Sequence[Interval],
    *,
    max_lag_s: float = 30.0,
    drift: bool = True,
) -> Synchronisation:
    """Put two clocks together by the angle around events done on purpose.

    Around each event the angle is correlated with the reference at every lag; the events must
    agree on one line (drift at most 300 ppm), and its mean correlation must exceed that of every
    other line by 0.1, so that an event no other stretch resembles is needed. Each event's lag is
    then fitted by least squares, and the line drawn through them by their standard errors.

    Parameters
    ----------
    wearable, reference : AngleRecording
        Each on its own clock and rate.
    events : sequence of Interval
        Stretches of the wearable's clock that hold one event each, from :func:`find_events` or by
        hand; at best one at the start and one at the end.
    max_lag_s : float
        Largest lag considered.
    drift : bool
        Fit the drift where there are two events or more.

    Returns
    -------
    Synchronisation

    Raises
    ------
    SynchronisationError
        If an event has no match, or the events do not single out one line.
    ValueError
        If there is no event, or two overlap.
    """
    if not events:
        raise ValueError("`events` must hold at least one interval.")
    ordered = sorted(events, key=lambda item: item.start_s)
    for before, after in pairwise(ordered):
        if after.start_s < before.end_s:
            raise ValueError(
                f"`events` must not overlap: {before.start_s:g} to {before.end_s:g} s and "
                f"{after.start_s:g} to {after.end_s:g} s."
            )
    a, b, rate = prepare(wearable, reference)
    parts = [a.between(item.start_s, item.end_s) for item in ordered]
    matches = [
        _matches(part, b, rate, item, max_lag_s) for part, item in zip(parts, ordered, strict=True)
    ]
    centres = np.array([0.5 * (item.start_s + item.end_s) for item in ordered])
    chosen, best, second = _agreeing(matches, centres)
    if best - second < _LEAST_GAP:
        apart, least = told_apart(best - second, _LEAST_GAP, 2)
        raise SynchronisationError(
            f"{a.source} and {b.source}: the events do not single out one lag (mean correlation "
            f"{best:.2f}, next best {second:.2f}: {apart} apart, {least} is needed). An event no "
            "other stretch resembles is needed: "
            "a jump or three stamps with standing before and after."
        )
    lags = [
        _fit_event(part, b, rate, match.lag_s) for part, match in zip(parts, chosen, strict=True)
    ]
    return _line(np.array(lags), drift=drift, best=best, second=second)


def _matches(
    part: BandLimited, reference: BandLimited, rate: float, item: Interval, max_lag_s: float
) -> list[_Match]:
    found = search_lags(
        part,
        reference,
        rate,
        expected_lag_s=0.0,
        max_lag_s=max_lag_s,
        min_overlap_s=0.8 * (item.end_s - item.start_s),
    )
    peaks = local_maxima(found.correlation)
    high = [int(i) for i in peaks if found.correlation[i] > 0.5][:40]
    if not high or found.correlation[high[0]] < _LEAST_CORRELATION:
        reached, least = told_apart(float(np.nanmax(found.correlation)), _LEAST_CORRELATION, 2)
        raise SynchronisationError(
            f"{part.source}: the event at {item.start_s:.1f} to {item.end_s:.1f} s has no match in "
            f"{reference.source} within `max_lag_s` = {max_lag_s:g} s (best correlation "
            f"{reached}, {least} is needed)."
        )
    return [_Match(found.refined(i), float(found.correlation[i])) for i in high]


def _agreeing(matches: list[list[_Match]], centres: Array) -> tuple[list[_Match], float, float]:
    """Return the best set of matches on one line, its mean correlation, and that of the next."""
    lines = []
    for first, last in product(matches[0], matches[-1]):
        ends = [first, last] if len(matches) > 1 else [first]
        reach = float(centres[-1] - centres[0])
        if abs(last.lag_s - first.lag_s) > _SLACK_S + _DRIFT_MAX * reach:
            continue
        middle = 0.5 * (first.lag_s + last.lag_s)
        inner = [
            min(options, key=lambda match: abs(match.lag_s - middle)) for options in matches[1:-1]
        ]
        everything = [ends[0], *inner, *ends[1:]]
        lines.append((float(np.mean([match.correlation for match in everything])), everything))
    if not lines:
        raise SynchronisationError(
            "the events at start and end agree on no lag: clocks do not part by more than "
            f"{_DRIFT_MAX * 1e6:g} ppm. Check that both stretches hold the same kind of event."
        )
    lines.sort(key=lambda line: -line[0])
    best, chosen = lines[0]
    others = [value for value, line in lines if abs(line[0].lag_s - chosen[0].lag_s) > _APART_S]
    return chosen, best, max(others, default=0.0)


def _fit_event(
    part: BandLimited, reference: BandLimited, rate: float, lag_s: float
) -> tuple[float, float, float]:
    """Return the reference time, the lag and its standard error of one event."""
    centre = 0.5 * (part.start_s + part.end_s) - lag_s
    try:
        fit = fit_line(
            part, reference, ClockLine(centre, lag_s), rate_hz=rate, drift=False, block_s=_BLOCK_S
        )
    except ValueError as error:
        raise SynchronisationError(f"{part.source} and {reference.source}: {error}") from error
    return centre, fit.line.lag_s, fit.lag_se_s(centre)


def _line(lags: Array, *, drift: bool, best: float, second: float) -> Synchronisation:
    """Draw the weighted least-squares line through the events' lags."""
    time, lag, error = lags.T
    error = np.maximum(error, 1e-6)
    middle = float(np.average(time, weights=error**-2))
    fitted = drift and time.size > 1
    rows = np.column_stack([np.ones(time.size), time - middle])[:, : 2 if fitted else 1]
    inverse = np.linalg.inv(rows.T @ (rows / error[:, None] ** 2))
    solution = inverse @ (rows.T @ (lag / error**2))
    free = time.size - rows.shape[1]
    freedom = float("nan")
    if free > 0:  # events that scatter more than their errors say (Birge 1932, Phys Rev 40:207)
        excess = float(np.sum(((lag - rows @ solution) / error) ** 2)) / free
        inverse = inverse * max(excess, 1.0)
        freedom = float(free) if excess > 1 else freedom  # then the scatter is the error's source
    slope = float(solution[1]) if fitted else 0.0
    slope_se = float(np.sqrt(inverse[1, 1])) if fitted else float("nan")
    centre_se = float(np.sqrt(inverse[0, 0]))
    unknown = Notice("one event: the lag is known, the drift is not.", "drift-unknown")
    warnings = () if time.size > 1 else (unknown,)
    return Synchronisation(
        method="event",
        lag_s=float(solution[0]) - slope * middle,
        lag_se_s=float(np.hypot(centre_se, slope_se * middle)) if fitted else centre_se,
        drift_ppm=slope * 1e6,
        drift_se_ppm=slope_se * 1e6,
        peak_correlation=best,
        runner_up_correlation=second,
        window_time_s=time,
        window_lag_s=lag,
        window_lag_se_s=error,
        centre_s=middle,
        centre_lag_se_s=centre_se,
        centre_lag_df=freedom,
        drift_df=freedom if fitted else float("nan"),
        lag_statistical_s=centre_se,
        drift_statistical_ppm=slope_se * 1e6,
        warnings=warnings,
    )
