"""Spread over cycles under two conditions, whose cycles are unlike in number and in memory.

A standard deviation (SD) about the cycles' own mean is too small where there are few cycles, and
more so where neighbouring cycles resemble each other. Two conditions with unlike numbers of cycles
are therefore compared over equally many consecutive cycles, and freed of what is left.

In the arrays the first axis is the participants, the second the two conditions (the one compared
against first), the third, where there is one, the trials; further axes are simulated studies, each
by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.agreement._difference_reach import difference_reach
from twinangle.agreement._input import Floats
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement.serial_spread import HIGHEST, LOWEST, expected_loss, serial_correlations

_NO_SPREAD = 1e-12  # variance as a share of the trial's own that is rounding
_FEWEST_FOR_REACH = 4  # participants: as many as there are parameters; fewer have Student's t


@dataclass(frozen=True, slots=True, eq=False)
class ConditionSpread:
    """What the cycles of two conditions say of their spread.

    Attributes
    ----------
    window : ndarray, shape (k, ...)
        m, the consecutive cycles over which a participant's SDs are taken.
    log_sd, sd : ndarray, shape (k, 2, ...)
        Mean over the windows of m cycles, trial by trial, of ln SD and of the SD.
    n : ndarray, shape (k, 2, t, ...)
        Cycles of each trial; any number above 1 where `lag0` is 0, for there is none.
    lag0, lag1 : ndarray, shape (k, 2, t, ...)
        Sums of squares about the trial's mean, and of products of neighbouring cycles.
    alike : ndarray, shape (k, 2, ...)
        How far the points of a curve vary as one: 1 where they all do, near 0 where none do.
    """

    window: Floats
    log_sd: Floats
    sd: Floats
    n: Floats
    lag0: Floats
    lag1: Floats
    alike: Floats


@dataclass(frozen=True, slots=True, eq=False)
class PairedSpread:
    """Logarithm of the ratio, and difference, of two conditions' SDs, with their intervals.

    `log_half`: half-width of the interval of `log_ratio`. `low`, `high`: ends of the interval of
    `difference`. `serial`: serial correlation of the cycles of each condition, shape (2, ...).
    """

    log_ratio: Floats
    log_half: Floats
    difference: Floats
    low: Floats
    high: Floats
    serial: Floats


def window_spread(curves: Floats, m: int) -> tuple[float, float]:
    """Return the mean of ln SD and of SD over all runs of `m` consecutive cycles.

    Parameters
    ----------
    curves : ndarray, shape (n_cycles, n_points)
        In the order measured.
    m : int
        Cycles of a run, 2 to n_cycles.

    Returns
    -------
    tuple of float
        The SD of a run has the divisor m - 1 and is averaged over the points. The first is NaN
        where a run does not vary.

    Notes
    -----
    Every run of m cycles has the same expectation whatever the number of cycles and their serial
    correlation, so that the mean of ln SD over them does not depend on that number, as the
    logarithm of a mean would.
    """
    centred = curves - curves.mean(axis=0)
    zero = np.zeros((1, curves.shape[1]))
    sums = np.concatenate([zero, np.cumsum(centred, axis=0)])
    squares = np.concatenate([zero, np.cumsum(centred**2, axis=0)])
    variance = (squares[m:] - squares[:-m] - (sums[m:] - sums[:-m]) ** 2 / m) / (m - 1)
    variance[variance <= _NO_SPREAD * (centred**2).mean()] = 0
    sd = np.sqrt(variance).mean(axis=1)
    log = float(np.log(sd).mean()) if sd.min() > 0 else float("nan")
    return log, float(sd.mean())


def lag_sums(curves: Floats) -> tuple[float, float]:
    """Return the sums over cycles and points of squares and of products of neighbouring cycles."""
    centred = curves - curves.mean(axis=0)
    return float((centred**2).sum()), float((centred[1:] * centred[:-1]).sum())


def points_alike(curves: Floats) -> float:
    """Return how far the points of the curves vary as one.

    Σ s_j s_l r_jl² / (Σ s_j)², s_j the SD at point j and r_jl the correlation of points j and l:
    the variance of the SD averaged over the points, as a share of that of an SD at one point.
    """
    centred = curves - curves.mean(axis=0)
    product = centred.T @ centred
    sd = np.sqrt(np.diag(product))
    total = float(sd.sum())
    if total == 0:
        return 1.0
    weights = np.outer(sd, sd)
    squares = np.divide(product**2, weights, out=np.zeros_like(product), where=weights > 0)
    return float(squares.sum()) / total**2


def conditions_serial(spread: ConditionSpread) -> Floats:
    """Return the serial correlation of each condition, every participant counting alike.

    Returns
    -------
    ndarray, shape (2, ...)
        `serial_correlations` of the sums divided by the square of the participant's SD under the
        *other* condition.

    Notes
    -----
    Sums of squares would give a participant with twice the spread four times the say, so that few
    people decide and the jackknife sees too little of the error. The SD of the other condition
    takes out the participant's own size and is independent of the sums it divides, so that a
    ratio of sums keeps its expectation. Where it is 0 the condition's own stands in.
    """
    size = np.where(spread.sd[:, ::-1] > 0, spread.sd[:, ::-1], spread.sd)
    weight = 1 / np.where(size > 0, size, 1.0)[:, :, None] ** 2
    return serial_correlations(spread.n, weight * spread.lag0, weight * spread.lag1)


def _freed(spread: ConditionSpread) -> tuple[Floats, Floats, Floats]:
    """Return log ratio and difference of each participant freed of loss, and the correlations."""
    serial = conditions_serial(spread)
    alike = spread.alike.mean(axis=(0, 1))
    loss, factor = expected_loss(spread.window[:, None], serial[None], alike)
    logs, sds = spread.log_sd - loss, spread.sd / np.exp(factor)
    return logs[:, 1] - logs[:, 0], sds[:, 1] - sds[:, 0], serial


def paired_spread(spread: ConditionSpread, confidence: float) -> PairedSpread:
    """Return ratio and difference of the two conditions' SDs, with intervals over participants.

    Parameters
    ----------
    spread : ConditionSpread
        Of at least one participant; with one there are no intervals: NaN.
    confidence : float
        Of the intervals.

    Returns
    -------
    PairedSpread

    Notes
    -----
    Each participant's SD over m cycles is freed of what it falls short at the condition's serial
    correlation (`expected_loss`, `conditions_serial`). Estimate and interval are those of the
    delete-one-participant jackknife, Student's t on k - 1 degrees of freedom; the correlations are
    estimated anew without the participant, for their error is shared by everyone [1]_. The
    jackknife's estimate also takes out what is left of the bias of order 1/k. The difference is
    skewed, more so with few cycles under the condition compared; from 4 participants on its
    interval is the range over the jackknife's ellipsoid of what it is made of
    (:func:`~twinangle.agreement._difference_reach.difference_reach`).

    References
    ----------
    .. [1] Efron & Tibshirani (1993). An Introduction to the Bootstrap, ch. 11 (jackknife).
    """
    k = spread.window.shape[0]
    log_ratios, differences, serial = _freed(spread)
    ratio, difference = log_ratios.mean(axis=0), differences.mean(axis=0)
    if k == 1:
        none = np.full(ratio.shape, np.nan)
        return PairedSpread(ratio, none, difference, none, none, serial)
    left_out = [_freed(_without(spread, i)) for i in range(k)]
    ratios, differences = (np.array([one[j].mean(axis=0) for one in left_out]) for j in (0, 1))
    ratio, log_half = _jackknife(ratio, ratios, confidence)
    difference, half = _jackknife(difference, differences, confidence)
    below, above = half, half
    if k >= _FEWEST_FOR_REACH:
        others = np.array([one[2] for one in left_out])
        below, above = _reach(spread, serial, others, half, two_sided_student(confidence, k - 1))
    return PairedSpread(ratio, log_half, difference, difference - below, difference + above, serial)


def _reach(
    spread: ConditionSpread, serial: Floats, others: Floats, half: Floats, t: float
) -> tuple[Floats, Floats]:
    """Return how far the difference reaches either way; `half` where some SDs are 0.

    `others`: the serial correlations with one participant left out, shape (k, 2, ...).
    """
    raw = spread.sd.mean(axis=0)
    k = others.shape[0]
    raw_others = (k * raw - spread.sd) / (k - 1)

    def levels(at: Floats) -> Floats:
        found: Floats = np.exp(at[:2]) * _levels(spread, np.tanh(at[2:])) / raw
        return found

    with np.errstate(divide="ignore", invalid="ignore"):
        whole = np.concatenate([np.log(raw), np.arctanh(serial)])
        left_out = np.concatenate([np.log(raw_others), np.arctanh(others)], axis=1)
        below, above = difference_reach(levels, whole, left_out, t)
    return np.where(np.isfinite(below), below, half), np.where(np.isfinite(above), above, half)


def _levels(spread: ConditionSpread, serial: Floats) -> Floats:
    """Return the mean over participants of SDs freed at the correlations given, shape (2, ...)."""
    within = np.clip(serial, LOWEST, HIGHEST)
    _, factor = expected_loss(spread.window[:, None], within[None], np.zeros(()))
    found: Floats = (spread.sd / np.exp(factor)).mean(axis=0)
    return found


def windows_spread(spread: ConditionSpread, confidence: float) -> PairedSpread:
    """Return ratio and difference of the SDs over m consecutive cycles, as they stand.

    Student's t on the participants' own; it holds for the SD over that many cycles whatever their
    serial correlation, and for the SD itself where the correlation of both conditions is alike.
    """
    logs = spread.log_sd[:, 1] - spread.log_sd[:, 0]
    sds = spread.sd[:, 1] - spread.sd[:, 0]
    difference, half = sds.mean(axis=0), _student_half(sds, confidence)
    return PairedSpread(
        logs.mean(axis=0),
        _student_half(logs, confidence),
        difference,
        difference - half,
        difference + half,
        conditions_serial(spread),
    )


def _without(spread: ConditionSpread, i: int) -> ConditionSpread:
    """Return the same without participant i."""
    return ConditionSpread(*(
        np.delete(part, i, axis=0)
        for part in (
            spread.window, spread.log_sd, spread.sd,
            spread.n, spread.lag0, spread.lag1, spread.alike,
        )
    ))  # fmt: skip


def _jackknife(whole: Floats, left_out: Floats, confidence: float) -> tuple[Floats, Floats]:
    """Return the jackknife's estimate and half-width from the values with one left out."""
    k = left_out.shape[0]
    pseudo = k * whole - (k - 1) * left_out
    return pseudo.mean(axis=0), _student_half(pseudo, confidence)


def _student_half(values: Floats, confidence: float) -> Floats:
    """Return the half-width of Student's interval of a mean over participants; NaN of one."""
    k = values.shape[0]
    if k == 1:
        return np.full(values.shape[1:], np.nan)
    half: Floats = two_sided_student(confidence, k - 1) * values.std(axis=0, ddof=1) / np.sqrt(k)
    return half


def one_participant_spread(
    spread: ConditionSpread, log_halves: tuple[float, float]
) -> tuple[float, float, float, tuple[float, float]]:
    """Return ratio and difference of one participant's SDs, with intervals over their cycles.

    Parameters
    ----------
    spread : ConditionSpread
        Of one participant.
    log_halves : tuple of float
        Half-widths of the intervals of ln SD in both conditions, over cycles.

    Returns
    -------
    log_ratio, log_half : float
        Logarithm of the ratio and the half-width of its interval.
    difference : float
        Of the two SDs.
    difference_ci : tuple of float
        Its interval.

    Notes
    -----
    The cycles of the two conditions are not the same ones, so the intervals of the two SDs are
    independent; their distances are added in squares, on the logarithm for the ratio and on the
    SDs for the difference (MOVER [1]_).

    References
    ----------
    .. [1] Zou & Donner (2008). Stat Med 27, 1693-1702.
    """
    serial = conditions_serial(spread)
    alike = spread.alike.mean(axis=(0, 1))
    loss, factor = expected_loss(spread.window[:, None], serial[None], alike)
    logs, sds = (spread.log_sd - loss)[0], (spread.sd / np.exp(factor))[0]
    reach = np.exp(np.array(log_halves))
    below, above = sds * (1 - 1 / reach), sds * (reach - 1)
    difference = float(sds[1] - sds[0])
    bounds = (
        difference - float(np.hypot(below[1], above[0])),
        difference + float(np.hypot(above[1], below[0])),
    )
    return float(logs[1] - logs[0]), float(np.hypot(*log_halves)), difference, bounds
