"""What the difference between two instruments is made of: an error budget that adds up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import optimize
from scipy.interpolate import CubicSpline

from twinangle.agreement._input import Floats, finite_pair, fraction
from twinangle.agreement._jackknife import few_cycles, pseudo_interval, spread_interval
from twinangle.agreement._participants import log_mean_interval
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, counted, interval, quantity
from twinangle.agreement._serial import serial_values

_FEWEST = 6  # cycles that can show wander, and have intervals
PARTS = ("offset", "range", "timing", "pattern", "wander", "random")
_BLOCKS = 100  # of neighbouring cycles at most, left out in turn; up to 100 cycles, each alone


@dataclass(frozen=True, slots=True, eq=False)
class ErrorBudget(Result):
    """Parts of the mean squared difference of curves; they add up to `total`.

    Attributes
    ----------
    total : float
        Mean over cycles and points of (test - reference)², in squared units.
    offset, range, timing, pattern, wander, random : float
        Its parts, none below 0: constant shift; difference of size; what a shift of one curve
        removes; pattern that repeats every cycle; level that moves slowly from cycle to cycle;
        the rest from cycle to cycle.
    total_ci, offset_ci, range_ci, timing_ci, pattern_ci, wander_ci, random_ci : tuple of float
        Intervals over this participant's cycles, in squared units; NaN below 6 cycles.
    gain : float
        Size of the test curve against the reference's, from the fit.
    gain_ci : tuple of float
        Its interval over the cycles.
    shift : float
        Points of the cycle by which the test curve is late.
    n_cycles : int
        Cycles.
    confidence : float
        Of the intervals.
    assumptions : tuple of str
        What the parts mean.
    """

    total: float
    total_ci: Interval
    offset: float
    offset_ci: Interval
    range: float
    range_ci: Interval
    timing: float
    timing_ci: Interval
    pattern: float
    pattern_ci: Interval
    wander: float
    wander_ci: Interval
    random: float
    random_ci: Interval
    gain: float
    gain_ci: Interval
    shift: float
    n_cycles: int
    confidence: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded; parts as root mean squares and shares."""
        parts = ", ".join(
            f"{name} {quantity(float(np.sqrt(getattr(self, name))), unit)} "
            f"({100 * self.share(name):.0f} %)"
            for name in PARTS
        )
        return (
            f"Root mean square difference {quantity(float(np.sqrt(self.total)), unit)} "
            f"({interval(_roots(self.total_ci), unit, self.confidence)}) over "
            f"{counted(self.n_cycles, 'cycle')}, of which {parts}."
        )

    def share(self, part: str) -> float:
        """Return a part's share of the total, 0 when there is no difference at all.

        Raises
        ------
        ValueError
            If `part` is not one of the parts.
        """
        if part not in PARTS:
            raise ValueError(f"`part` must be one of {', '.join(PARTS)}, got {part!r}.")
        return float(getattr(self, part)) / self.total if self.total > 0 else 0.0


def error_budget(test: ArrayLike, reference: ArrayLike, *, confidence: float = 0.95) -> ErrorBudget:
    """Part the mean squared difference of two instruments' curves by its causes.

    Parameters
    ----------
    test, reference : array_like of float, shape (n_cycles, n_points)
        Curves of the same cycles in the order measured, both ends of the cycle included.
    confidence : float, default 0.95
        Of the intervals.

    Returns
    -------
    ErrorBudget

    Raises
    ------
    ValueError
        If there are fewer than 8 points, the shapes differ, a value is missing or infinite, or
        `confidence` is not between 0 and 1.

    Notes
    -----
    With d_ij the difference in cycle i at point j, D_j its mean over cycles, and mean squares
    taken over all cycles and points::

        total  = MS(d) = MS(D) + MS(d - D)

    *Mean curve.* offset = (mean D)². With t and r the demeaned mean curves, the test curve is
    moved by the shift (at most an eighth of the cycle, which repeats) that makes MS(t' - r)
    smallest; then t' = g r + e by least squares, e at right angles to r, and::

        timing  = MS(t - r) - MS(t' - r)      what the shift removes
        range   = (g - 1)² MS(r)              what the gain explains of the rest
        pattern = MS(e)                       what is left

    They add up to MS(D - mean D) and none is negative.

    *Between cycles.* L_i is the mean over the points of d - D in cycle i. Neighbouring cycles
    share the slow part of L and nothing else, so wander = mean(L_i L_i+1) + MS(L)/n (for the
    bias that taking D out brings), between 0 and MS(L). random is the rest of MS(d - D), to which
    random/(n - 1), what the random rest leaves in the mean curve, is moved from pattern.

    *Intervals* are over this participant's cycles, from 6 on. Offset, range, timing, pattern and
    total: a jackknife that leaves out one cycle in turn (above 100 cycles one of 100 blocks of
    neighbouring ones [2]_), of the roots of the parts, ends squared and not below 0; gain
    likewise as it is. The half-width is Student's t averaged over the serial correlations that
    the pseudo-values allow (`_serial.serial_values`). Random: the same jackknife of its
    logarithm, on n (1 - p²)/(1 + p²) cycles, p the lag-1 autocorrelation of d - D, freed of its
    small-sample bias and at most 0.7. Wander: what neighbours share, p σ², of values L_i with a
    first-order serial correlation p and variance σ², averaged over p in the same way, widened
    to the part itself where it misses that; few cycles make the part too small, and the interval
    makes up for that. The shift stays what it is: at its optimum the parts do not depend on it
    to first order. Where the level wanders so slowly that the trial holds few of its swings, the
    intervals of offset, wander and total are too narrow.

    The definitions are this package's own.

    References
    ----------
    .. [1] Kobayashi & Salam (2000). Agron J 92, 345-352 (for offset, size and pattern).
    .. [2] Künsch (1989). Ann Stat 17, 1217-1241 (jackknife with blocks).
    """
    test, reference = finite_pair(test, reference, ndim=2)
    confidence = fraction(confidence, "confidence")
    if test.shape[1] < 8:
        raise ValueError(f"`test` needs at least 8 points a cycle, got shape {test.shape}.")
    cycles = _all_cycles(test, reference)
    t, r = cycles.test, cycles.reference
    shift = _best_shift(t - t.mean(), r - r.mean()) if np.ptp(r) > 0 else 0.0
    parts = _parts(cycles, shift)
    intervals: dict[str, Any] = {f"{name}_ci": NO_INTERVAL for name in parts}
    if test.shape[0] >= _FEWEST:
        intervals = _intervals(test, reference, shift, parts, confidence)
    return ErrorBudget(
        **parts,
        **intervals,
        shift=shift,
        n_cycles=test.shape[0],
        confidence=confidence,
        assumptions=_assumptions(test.shape[0], parts["wander"] > 0.1 * parts["total"]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Cycles:
    """What the parts need of a set of cycles: mean curves, MS(d), MS(d - D), levels of d - D."""

    test: Floats
    reference: Floats
    total: float
    varied: float
    level: Floats


def _all_cycles(test: Floats, reference: Floats) -> _Cycles:
    difference = test - reference
    rest = difference - difference.mean(axis=0)
    return _Cycles(
        test=test.mean(axis=0),
        reference=reference.mean(axis=0),
        total=float(np.mean(difference**2)),
        varied=float(np.mean(rest**2)),
        level=rest.mean(axis=1),
    )


def _without_blocks(test: Floats, reference: Floats) -> list[_Cycles]:
    """Return the cycles without each block in turn, from sums that lack the block."""
    n = test.shape[0]
    difference = test - reference
    rest = difference - difference.mean(axis=0)
    squares, varied = np.mean(difference**2, axis=1), np.mean(rest**2, axis=1)
    level, test_sum, reference_sum = rest.mean(axis=1), test.sum(axis=0), reference.sum(axis=0)
    found = []
    for block in np.array_split(np.arange(n), min(n, _BLOCKS)):
        left = n - block.size
        drift = rest[block].sum(axis=0) / left  # by which the mean curve of the others is less
        spread = (varied.sum() - varied[block].sum()) / left - np.mean(drift**2)
        found.append(
            _Cycles(
                test=(test_sum - test[block].sum(axis=0)) / left,
                reference=(reference_sum - reference[block].sum(axis=0)) / left,
                total=float((squares.sum() - squares[block].sum()) / left),
                varied=max(float(spread), 0.0),
                level=np.delete(level, block) + drift.mean(),
            )
        )
    return found


def _parts(cycles: _Cycles, shift: float, moved: Floats | None = None) -> dict[str, Any]:
    """Return total, parts and gain for a shift (`moved` as `_fit_mean_curve`)."""
    n = cycles.level.size
    fit = _fit_mean_curve(cycles.test, cycles.reference, shift, moved)
    wander = _wander(cycles)
    random = max(cycles.varied - wander, 0.0)
    noise = min(fit.pattern, random / (n - 1)) if n > 1 else 0.0
    return {
        "total": cycles.total,
        "offset": float(np.mean(cycles.test - cycles.reference)) ** 2,
        "range": fit.range,
        "timing": fit.timing,
        "pattern": fit.pattern - noise,
        "wander": wander,
        "random": random + noise,
        "gain": fit.gain,
    }


def _intervals(
    test: Floats, reference: Floats, shift: float, parts: dict[str, Any], confidence: float
) -> dict[str, Any]:
    """Return the intervals of total, parts and gain over the cycles."""
    without = _without_blocks(test, reference)
    moved = _Repeating(np.array([one.test for one in without])).late(-shift)
    less = [_parts(one, shift, curve) for one, curve in zip(without, moved, strict=True)]
    left_out = {name: np.array([one[name] for one in less]) for name in parts}
    found = {
        name: _root_interval(parts[name], left_out[name], confidence)
        for name in ("total", *PARTS)
        if name not in ("random", "wander")  # these have intervals of their own
    }
    found["gain"] = pseudo_interval(parts["gain"], left_out["gain"], confidence)
    rest = test - reference
    rest = rest - rest.mean(axis=0)
    found["random"] = spread_interval(parts["random"], left_out["random"], rest, confidence)
    found["wander"] = _holding(serial_values(rest.mean(axis=1)).shared(confidence), parts["wander"])
    return {f"{name}_ci": bounds for name, bounds in found.items()}


def _root_interval(value: float, less: Floats, confidence: float) -> Interval:
    """Return the jackknife's interval of a part, on the scale of the root."""
    root, roots = float(np.sqrt(value)), np.sqrt(np.maximum(less, 0))
    if root == 0 and not roots.any():
        return NO_INTERVAL
    low, high = pseudo_interval(root, roots, confidence)
    return max(low, 0.0) ** 2, high**2


def _holding(bounds: Interval, value: float) -> Interval:
    """Return the interval, widened to the part itself where it missed that."""
    return min(bounds[0], value), max(bounds[1], value)


@dataclass(frozen=True, slots=True, eq=False)
class PooledBudget(Result):
    """Mean of several participants' error budgets, and each of them.

    Attributes
    ----------
    total, offset, range, timing, pattern, wander, random : float
        Means over the budgets, each counting the same; the parts add up to the total.
    total_ci, offset_ci, range_ci, timing_ci, pattern_ci, wander_ci, random_ci : tuple of float
        Intervals over participants; NaN below 4, or where the part is 0 in all of them.
    n_participants : int
        Budgets.
    budgets : tuple of ErrorBudget
        The budgets.
    confidence : float
        Of the intervals.
    assumptions : tuple of str
        What the parts mean.
    """

    total: float
    total_ci: Interval
    offset: float
    offset_ci: Interval
    range: float
    range_ci: Interval
    timing: float
    timing_ci: Interval
    pattern: float
    pattern_ci: Interval
    wander: float
    wander_ci: Interval
    random: float
    random_ci: Interval
    n_participants: int
    budgets: tuple[ErrorBudget, ...]
    confidence: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        share = self.total if self.total > 0 else 1.0
        parts = ", ".join(f"{name} {100 * getattr(self, name) / share:.0f} %" for name in PARTS)
        return (
            f"Root mean square difference {quantity(float(np.sqrt(self.total)), unit)} "
            f"({interval(_roots(self.total_ci), unit, self.confidence)}) over "
            f"{counted(self.n_participants, 'participant')}: {parts}."
        )


def pool_budgets(budgets: Sequence[ErrorBudget], *, confidence: float = 0.95) -> PooledBudget:
    """Average error budgets, one a participant.

    Parameters
    ----------
    budgets : sequence of ErrorBudget
        At least one. The mean of each participant's budget, so an offset that differs in sign
        between participants stays in the offset part.
    confidence : float, default 0.95
        Of the intervals.

    Returns
    -------
    PooledBudget

    Raises
    ------
    ValueError
        If there is none, or `confidence` is not between 0 and 1.

    Notes
    -----
    Intervals: participants are what is sampled. A part is a mean over participants of numbers
    that are not negative, so its logarithm is taken: mean × exp(∓ t e), Student's t on k - 1
    degrees of freedom, e² the relative variance of the mean as in `limits_of_agreement`.
    """
    confidence = fraction(confidence, "confidence")
    if not budgets:
        raise ValueError("`budgets` is empty; at least one budget is needed.")
    table = pd.concat([one.to_frame() for one in budgets])
    values = {name: table[name].to_numpy(dtype=np.float64) for name in ("total", *PARTS)}
    found: dict[str, Any] = {name: float(each.mean()) for name, each in values.items()}
    found |= {f"{name}_ci": log_mean_interval(each, confidence) for name, each in values.items()}
    return PooledBudget(
        **found,
        n_participants=len(budgets),
        budgets=tuple(budgets),
        confidence=confidence,
        assumptions=("Every budget counts the same.", *budgets[0].assumptions[:1]),
    )


def _roots(bounds: Interval) -> Interval:
    """Return the interval of a root mean square from that of the mean square."""
    return float(np.sqrt(bounds[0])), float(np.sqrt(bounds[1]))


@dataclass(frozen=True, slots=True)
class _MeanCurveFit:
    """Gain and parts of the demeaned mean curve."""

    gain: float
    range: float
    timing: float
    pattern: float


def _fit_mean_curve(
    test: Floats, reference: Floats, shift: float, moved: Floats | None
) -> _MeanCurveFit:
    """Return gain and the parts range, timing and pattern of the mean curve for a shift.

    `moved`: the demeaned test curve after the shift, where it is known already.
    """
    target, centred = test - test.mean(), reference - reference.mean()
    whole, power = float(np.mean((target - centred) ** 2)), float(np.mean(centred**2))
    if power == 0:
        return _MeanCurveFit(float("nan"), 0.0, 0.0, whole)
    if moved is None:
        moved = target if shift == 0 else _Repeating(target).late(-shift)
    rest = float(np.mean((moved - centred) ** 2))
    gain = float(np.mean(moved * centred)) / power
    ranged = (gain - 1) ** 2 * power
    return _MeanCurveFit(gain, ranged, max(whole - rest, 0.0), max(rest - ranged, 0.0))


def _best_shift(target: Floats, reference: Floats) -> float:
    """Return by how many points the target is late, 0 where no shift brings it nearer."""
    limit = int((target.size - 1) // 8)  # a larger shift is another curve, not a delay
    curve = _Repeating(target)

    def apart(shift: Floats | float) -> Floats:
        gap: Floats = np.mean((curve.late(-np.asarray(shift)) - reference) ** 2, axis=-1)
        return gap

    whole = np.arange(-limit, limit + 1, dtype=np.float64)
    start = float(whole[np.lexsort((np.abs(whole), apart(whole)))[0]])
    found = optimize.minimize_scalar(
        lambda shift: float(apart(shift)),
        bounds=(start - 1, start + 1),
        method="bounded",
        options={"xatol": 1e-8},
    )
    unmoved = float(np.mean((target - reference) ** 2))
    return float(found.x) if found.fun < unmoved * (1 - 1e-9) else 0.0


class _Repeating:
    """Curves along the last axis, to be read between their points.

    The cycle repeats; what it fails to close by is taken as a steady drift.
    """

    def __init__(self, curves: Floats) -> None:
        self._grid = np.arange(curves.shape[-1], dtype=np.float64)
        self._drift = (curves[..., -1:] - curves[..., :1]) / self._grid[-1]
        closed = curves - self._drift * self._grid
        closed[..., -1] = closed[..., 0]
        self._spline = CubicSpline(self._grid, closed, axis=-1, bc_type="periodic")

    def late(self, shift: Floats | float) -> Floats:
        """Return the curves late by `shift` points, demeaned; several shifts of one curve."""
        where = self._grid - np.asarray(shift)[..., None]
        moved = self._spline(where) + self._drift * where
        centred: Floats = moved - moved.mean(axis=-1, keepdims=True)
        return centred


def _wander(cycles: _Cycles) -> float:
    """Return the mean square of the slow wander of the level."""
    level = cycles.level
    power = float(np.mean(level**2))
    if level.size < _FEWEST or power == 0:
        return 0.0
    # Neighbours share the slow part and nothing else, so their product estimates its square.
    slow = float(np.mean(level[1:] * level[:-1])) + power / level.size
    return float(np.clip(slow, 0.0, power))


def _assumptions(n_cycles: int, wanders: bool) -> tuple[str, ...]:
    """Return what the parts mean."""
    said = [
        "Parts are of the mean squared difference and add up to it; their roots do not.",
        (
            "Parts describe, they do not explain: what of a repeating pattern looks like a shift "
            "or a change of size is counted as that."
        ),
    ]
    if n_cycles < _FEWEST:
        said.append(f"Fewer than {_FEWEST} cycles: wander cannot be told from the random rest.")
    else:
        said += few_cycles(n_cycles)
    if wanders:
        said.append(
            "The level wanders: where it does so slowly, so that the trial holds few of its "
            "swings, the intervals over the cycles of offset, wander and whole are too narrow."
        )
    return tuple(said)
