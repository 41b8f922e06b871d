"""Synchronise two joint angles by what they have in common."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from twinangle.checks import require_positive
from twinangle.clocks.fitted_clock import ANCHOR_S, LONG_S, Pair, clock_of, extend_line, fit_clock
from twinangle.clocks.search import LAG_COLUMN, Search, choose_peak, prepare, search_lags
from twinangle.clocks.stepped import as_told
from twinangle.clocks.steps import LEAST_PART_S, LagStep, clearest, find_step, search_step
from twinangle.clocks.which_stride import Decision, decide
from twinangle.errors import SynchronisationError
from twinangle.notices import Notice
from twinangle.signals.recording import AngleRecording, Synchronisation
from twinangle.thresholds import told_apart
from twinangle.wording import count

_ACCEPT = 7.0  # G above which a lag is accepted (see which_stride.py)
ENOUGH_STRIDES, _FEWEST_STRIDES = 8, 4  # with fewer than the first, G must be larger
_DRIFT_MAX = 300e-6  # of two clocks against each other; common practice, no source
_AS_MUCH = 0.9  # of the overlap at which a step was found, for one lag to rule it out
_SURELY_ALIKE = 0.9  # correlation at a lag outside the search, for it to be named


def synchronise(
    wearable: AngleRecording,
    reference: AngleRecording,
    *,
    max_lag_s: float = 30.0,
    drift: bool = True,
    expected_lag_s: float = 0.0,
    min_overlap_s: float | None = None,
    refuse: bool = True,
) -> Synchronisation:
    """Find how the reference clock lies on the wearable's from the two angles themselves.

    Normalised cross-correlation over the overlap finds the lags that may be; a likelihood ratio
    over strides decides between them (:func:`twinangle.clocks.which_stride.decide`); generalised
    least squares on prewhitened residuals then gives lag and drift with their standard errors.

    Parameters
    ----------
    wearable, reference : AngleRecording
        Each on its own clock and rate, flexion positive in both; gaps are NaN.
    max_lag_s : float
        Largest offset of the clocks considered, either side of `expected_lag_s`, seconds, over the
        stretch recorded by both. Below half a stride it settles which stride it is.
    drift : bool
        Estimate the drift between the clocks, weighed against what clocks do
        (:func:`twinangle.clocks.drift_prior.shrink_drift`).
    expected_lag_s : float
        Middle of the search, where the lag is roughly known.
    min_overlap_s : float, optional
        Shortest overlap at which a lag is considered; by default the smaller of 10 s and half the
        shorter recording.
    refuse : bool
        Raise where it is not certain which stride it is, or where a file has lost samples; False
        turns that into a warning.

    Returns
    -------
    Synchronisation
        ``t_wearable = t_reference (1 + drift_ppm 1e-6) + lag_s``. `lag_se_s` is the total
        error of the lag at reference time 0, `centre_lag_se_s` that at `centre_s`. `evidence` is
        G, NaN where no other lag came into question.

    Raises
    ------
    SynchronisationError
        If a recording is too short or constant, the clocks do not overlap, the correlation is
        strongly negative, low everywhere, or still rising at the edge of the search, if one of
        the files has lost samples without a gap in its times, or if it cannot be told which
        stride it is.
    ValueError
        If `max_lag_s` is not above 0.
    """
    require_positive(max_lag_s, "max_lag_s")
    whole = Pair(*prepare(wearable, reference))
    pair = _within_reach(whole, expected_lag_s, max_lag_s)
    anchor = _anchor(pair, expected_lag_s, max_lag_s)
    shorter = min(side.end_s - side.start_s for side in (anchor.wearable, anchor.reference))
    found = search_lags(
        anchor.wearable,
        anchor.reference,
        pair.rate_hz,
        expected_lag_s=expected_lag_s,
        max_lag_s=max_lag_s,
        min_overlap_s=min(10.0, 0.5 * shorter) if min_overlap_s is None else min_overlap_s,
    )
    stepped = partial(
        search_step,
        anchor.wearable,
        anchor.reference,
        expected_lag_s=expected_lag_s,
        max_lag_s=max_lag_s,
        stride_s=found.stride_s,
    )
    try:
        choose_peak(found, max_lag_s, wearable.source, reference.source)
    except SynchronisationError as error:
        beyond = _beyond(whole, expected_lag_s, max_lag_s)
        raise SynchronisationError(beyond or _told(stepped(), pair) or str(error)) from None
    chosen = decide(anchor.wearable, anchor.reference, found, pair.rate_hz)
    lag_s = found.refined(chosen.index)
    doubt = _doubt(chosen, found, pair.names)
    step = find_step(pair.wearable, pair.reference, lag_s, stride_s=found.stride_s)
    # What fits less well than here is no lag outside, unless something speaks against this one.
    alike = -1.0 if step is not None or doubt else float(found.correlation[chosen.index])
    beyond = _beyond(whole, expected_lag_s, max_lag_s, here=alike)
    if step is not None or doubt:  # a step found at a wrong lag is clearer at the right one
        other = stepped()
        one_lag = step is None and _unbroken(anchor, lag_s, other)
        doubt = beyond or _told(clearest([step, None if one_lag else other]), pair) or doubt
    doubt = doubt or beyond
    if doubt and refuse:
        raise SynchronisationError(doubt)
    fit, windows = fit_clock(anchor, found, lag_s, drift)
    if anchor is not pair:
        fit, windows = extend_line(pair, fit, windows, found, drift)
    clock = clock_of(pair, anchor, found, chosen, fit, windows, drift=drift)
    told = Notice(doubt, "uncertain-stride", "grave")
    return replace(clock, warnings=(told, *clock.warnings)) if doubt else clock


def _within_reach(pair: Pair, expected_lag_s: float, max_lag_s: float) -> Pair:
    """Return what of each recording can meet the other at any lag allowed.

    So that a few minutes of reference within a day of the wearable cost minutes, not a day.
    """
    a, b = pair.wearable, pair.reference
    slack = max_lag_s + _DRIFT_MAX * max(a.end_s - a.start_s, b.end_s - b.start_s)
    low = max(a.start_s, b.start_s + expected_lag_s - slack)
    high = min(a.end_s, b.end_s + expected_lag_s + slack)
    if low >= high:
        return pair  # the search says that they do not overlap
    return Pair(
        a.between(low, high),
        b.between(low - expected_lag_s - slack, high - expected_lag_s + slack),
        pair.rate_hz,
    )


def _anchor(pair: Pair, expected_lag_s: float, max_lag_s: float) -> Pair:
    """Return the stretch of a long pair on which the wearable moves most; a short pair whole.

    Clocks that part by 150 ppm are 0.1 s apart over it: too little to smear a stride.
    """
    a, b = pair.wearable, pair.reference
    reach = expected_lag_s + np.array([-max_lag_s, max_lag_s])
    start, end = max(a.start_s, b.start_s + reach[0]), min(a.end_s, b.end_s + reach[1])
    if end - start <= 2 * ANCHOR_S:
        return pair
    step = max(int(a.rate_hz / 5), 1)
    angle = a.samples(start, end)[::step]
    speed = np.nan_to_num(np.abs(np.diff(angle, prepend=angle[0])))
    total = np.concatenate([[0.0], np.cumsum(np.minimum(speed, 20.0))])
    size = int(ANCHOR_S * a.rate_hz / step)
    first = int(np.argmax(total[size:] - total[:-size])) * step / a.rate_hz
    low = max(start, a.start_s) + first
    high = low + ANCHOR_S
    return Pair(a.between(low, high), b.between(low - reach[1], high - reach[0]), pair.rate_hz)


def _beyond(whole: Pair, expected_lag_s: float, max_lag_s: float, *, here: float = -1.0) -> str:
    """Return that the lag lies outside the search, where it surely does; else empty.

    Strides off, the lag seems to step, cycles cannot be told apart, or all seems well, since the
    search holds none but wrong strides. Where all seems well, the two must be more alike outside
    than they are `here`, at the lag that was found.
    """
    a, b = whole.wearable, whole.reference
    shorter, longer = sorted(side.end_s - side.start_s for side in (a, b))
    reach = max(
        abs(a.end_s - b.start_s - expected_lag_s), abs(b.end_s - a.start_s + expected_lag_s)
    )
    # Further out, less than half of the shorter recording meets the other.
    if longer > LONG_S or reach - 0.5 * shorter <= max_lag_s:
        return ""
    found = search_lags(
        a,
        b,
        whole.rate_hz,
        expected_lag_s=expected_lag_s,
        max_lag_s=reach,
        min_overlap_s=0.5 * shorter,
    )
    outside = found.correlation[np.abs(found.lags_s - expected_lag_s) > max_lag_s]
    if not (outside > max(here, _SURELY_ALIKE)).any():
        return ""
    try:
        choose_peak(found, reach, a.source, b.source)
    except SynchronisationError:
        return ""
    chosen = decide(a, b, found, whole.rate_hz)
    lag_s, alike = found.refined(chosen.index), float(found.correlation[chosen.index])
    if abs(lag_s - expected_lag_s) <= max_lag_s or alike < _SURELY_ALIKE:
        return ""
    if _doubt(chosen, found, whole.names):
        return ""
    about = f" of {expected_lag_s:g} s" if expected_lag_s else ""
    fits = f"correlates above {here:.2f}" if here > 0 else "fits"
    return (
        f"{whole.names}: no lag within `max_lag_s` ({max_lag_s:g} s){about} {fits}, while at "
        f"{lag_s:+.2f} s, outside the search, the two correlate at {alike:.2f}. Write "
        f"{lag_s:.1f} into this recording's row of the trials table, in {LAG_COLUMN}; or widen "
        "`max_lag_s` under [synchronisation], for all recordings."
    )


def _told(step: LagStep | None, pair: Pair) -> str:
    """Return where the lag steps, empty where it does not."""
    return as_told(step, pair.wearable, pair.reference)


def _unbroken(pair: Pair, lag_s: float, step: LagStep | None) -> bool:
    """Tell whether one lag, at which no step was found, explains a step found at another one.

    Strides off the right lag, bouts of walking that differ in cadence have lags that differ too.
    The one lag must reach over the place and over as much, for one at which hardly more than one
    part of a broken pair overlaps fits well; and leave less over: 1 - r² of the rates of change.
    """
    if step is None:
        return False
    a, b = pair.wearable, pair.reference
    (start, end), (first, last) = (
        (max(a.start_s, b.start_s + lag), min(a.end_s, b.end_s + lag))
        for lag in (lag_s, step.before_s)
    )
    within = start + LEAST_PART_S <= step.time_s <= end - LEAST_PART_S
    if not within or end - start < _AS_MUCH * (last - first):
        return False
    time = np.arange(start, end, 1 / pair.rate_hz)
    rates = np.array([a.at(time)[1], b.at(time - lag_s)[1]])
    r = float(np.corrcoef(rates[:, np.isfinite(rates).all(axis=0)])[0, 1])
    return r > 0 and 1 - r * r < step.misfit


def _doubt(chosen: Decision, found: Search, names: str) -> str:
    """Return why it is not certain which stride it is, empty where it is."""
    if not np.isfinite(chosen.evidence):
        return ""
    reasons = []
    n = chosen.n_strides
    required = _ACCEPT * max(1.0, ENOUGH_STRIDES / max(n, _FEWEST_STRIDES))
    if n < _FEWEST_STRIDES:
        reasons.append(
            f"only {count(n, 'cycle')} to tell by, {_FEWEST_STRIDES} are needed at least"
        )
    elif chosen.evidence <= required:
        found_evidence, needed = told_apart(chosen.evidence, required)
        few = f" with only {n} cycles to tell by" if n < ENOUGH_STRIDES else ""
        reasons.append(f"evidence of {found_evidence}, above {needed} is needed{few}")
    # Of fewer strides, durations and sizes correlate by chance.
    if n >= ENOUGH_STRIDES and chosen.second_opinion <= 0:
        reasons.append("the cycles' durations and sizes fit another lag better")
    if not reasons:
        return ""
    lag = found.lags_s[chosen.index]
    rival = f" and {chosen.rival_lag_s:+.2f} s" if np.isfinite(chosen.rival_lag_s) else ""
    fitting = (
        f"Lags of {lag:+.2f} s{rival} fit about as well"
        if rival
        else (f"A lag of {lag:+.2f} s fits best, and no other was found to hold it against")
    )
    return (
        f"{names}: it cannot be told which cycle is which. {fitting} ({'; '.join(reasons)}). "
        "What would settle "
        "it: a `max_lag_s` below half a cycle around a known lag (`expected_lag_s`; the trials "
        "table has a column for either), a trigger recorded with both, "
        "an event at start and end (a jump, a stamp or heel taps, from whom that is safe for: "
        "docs/how-to/recording.md), or a longer recording with a start, a "
        "stop or a turn in it."
    )
