"""What the difference between two instruments is made of: an error budget that adds up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import optimize
from scipy.interpolate import CubicSpline

from twinangle.agreement._input import Floats, finite_pair
from twinangle.agreement._result import Result, quantity

PARTS = ("offset", "range", "timing", "pattern", "wander", "random")


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
    gain : float
        Size of the test curve against the reference's, from the fit.
    shift : float
        Points of the cycle by which the test curve is late.
    n_cycles : int
        Cycles.
    assumptions : tuple of str
        What the parts mean.
    """

    total: float
    offset: float
    range: float
    timing: float
    pattern: float
    wander: float
    random: float
    gain: float
    shift: float
    n_cycles: int
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded; parts as root mean squares and shares."""
        parts = ", ".join(
            f"{name} {quantity(float(np.sqrt(getattr(self, name))), unit)} "
            f"({100 * self.share(name):.0f} %)"
            for name in PARTS
        )
        return (
            f"Root mean square difference {quantity(float(np.sqrt(self.total)), unit)} over "
            f"{self.n_cycles} cycle(s), of which {parts}."
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


def error_budget(test: ArrayLike, reference: ArrayLike) -> ErrorBudget:
    """Part the mean squared difference of two instruments' curves by its causes.

    Parameters
    ----------
    test, reference : array_like of float, shape (n_cycles, n_points)
        Curves of the same cycles in the order measured, both ends of the cycle included.

    Returns
    -------
    ErrorBudget

    Raises
    ------
    ValueError
        If there are fewer than 8 points, the shapes differ, or a value is missing or infinite.

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

    The definitions are this package's own.

    References
    ----------
    .. [1] Kobayashi & Salam (2000). Agron J 92, 345-352 (for offset, size and pattern).
    """
    test, reference = finite_pair(test, reference, ndim=2)
    if test.shape[1] < 8:
        raise ValueError(f"`test` needs at least 8 points a cycle, got shape {test.shape}.")
    difference = test - reference
    mean = difference.mean(axis=0)
    offset = float(mean.mean()) ** 2
    fit = _fit_mean_curve(test.mean(axis=0), reference.mean(axis=0))
    wander, random = _cycle_parts(difference - mean)
    moved = min(fit.pattern, random / (test.shape[0] - 1)) if test.shape[0] > 1 else 0.0
    return ErrorBudget(
        total=float(np.mean(difference**2)),
        offset=offset,
        range=fit.range,
        timing=fit.timing,
        pattern=fit.pattern - moved,
        wander=wander,
        random=random + moved,
        gain=fit.gain,
        shift=fit.shift,
        n_cycles=test.shape[0],
        assumptions=_assumptions(test.shape[0]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class PooledBudget(Result):
    """Mean of several error budgets, and each of them.

    Attributes
    ----------
    total, offset, range, timing, pattern, wander, random : float
        Means over the budgets, each counting the same; the parts add up to the total.
    n_participants : int
        Budgets.
    budgets : tuple of ErrorBudget
        The budgets.
    assumptions : tuple of str
        What the parts mean.
    """

    total: float
    offset: float
    range: float
    timing: float
    pattern: float
    wander: float
    random: float
    n_participants: int
    budgets: tuple[ErrorBudget, ...]
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        share = self.total if self.total > 0 else 1.0
        parts = ", ".join(f"{name} {100 * getattr(self, name) / share:.0f} %" for name in PARTS)
        return (
            f"Root mean square difference {quantity(float(np.sqrt(self.total)), unit)} over "
            f"{self.n_participants} participant(s): {parts}."
        )


def pool_budgets(budgets: Sequence[ErrorBudget]) -> PooledBudget:
    """Average error budgets, one a participant.

    Parameters
    ----------
    budgets : sequence of ErrorBudget
        At least one. The mean of each participant's budget, so an offset that differs in sign
        between participants stays in the offset part.

    Returns
    -------
    PooledBudget

    Raises
    ------
    ValueError
        If there is none.
    """
    if not budgets:
        raise ValueError("`budgets` is empty; at least one budget is needed.")
    table = pd.concat([one.to_frame() for one in budgets])
    means = {name: float(table[name].mean()) for name in ("total", *PARTS)}
    return PooledBudget(
        **means,
        n_participants=len(budgets),
        budgets=tuple(budgets),
        assumptions=("Every budget counts the same.", *budgets[0].assumptions[:1]),
    )


@dataclass(frozen=True, slots=True)
class _MeanCurveFit:
    """Gain, shift and parts of the demeaned mean curve."""

    gain: float
    shift: float
    range: float
    timing: float
    pattern: float


def _fit_mean_curve(test: Floats, reference: Floats) -> _MeanCurveFit:
    """Return gain, shift and the parts range, timing and pattern of the mean curve."""
    target, centred = test - test.mean(), reference - reference.mean()
    whole, power = float(np.mean((target - centred) ** 2)), float(np.mean(centred**2))
    if power == 0:
        return _MeanCurveFit(float("nan"), 0.0, 0.0, 0.0, whole)
    shift = _best_shift(target, centred)
    moved = target if shift == 0 else _shifted(target, -shift)
    rest = float(np.mean((moved - centred) ** 2))
    gain = float(np.mean(moved * centred)) / power
    ranged = (gain - 1) ** 2 * power
    return _MeanCurveFit(gain, shift, ranged, whole - rest, max(rest - ranged, 0.0))


def _best_shift(target: Floats, reference: Floats) -> float:
    """Return by how many points the target is late, 0 where no shift brings it nearer."""
    limit = int((target.size - 1) // 8)  # a larger shift is another curve, not a delay

    def apart(shift: float) -> float:
        return float(np.mean((_shifted(target, -shift) - reference) ** 2))

    start = min(range(-limit, limit + 1), key=lambda s: (apart(s), abs(s)))
    found = optimize.minimize_scalar(
        apart, bounds=(start - 1, start + 1), method="bounded", options={"xatol": 1e-8}
    )
    unmoved = float(np.mean((target - reference) ** 2))
    return float(found.x) if found.fun < unmoved * (1 - 1e-9) else 0.0


def _shifted(curve: Floats, shift: float) -> Floats:
    """Return the demeaned curve late by `shift` points.

    The cycle repeats; what it fails to close by is taken as a steady drift.
    """
    grid = np.arange(curve.size, dtype=np.float64)
    drift = (curve[-1] - curve[0]) / grid[-1]
    closed = curve - drift * grid
    closed[-1] = closed[0]
    where = grid - shift
    moved = CubicSpline(grid, closed, bc_type="periodic")(where) + drift * where
    centred: Floats = moved - moved.mean()
    return centred


def _cycle_parts(rest: Floats) -> tuple[float, float]:
    """Return the mean squares of the slow wander of the level and of what remains."""
    whole = float(np.mean(rest**2))
    level = rest.mean(axis=1)
    power = float(np.mean(level**2))
    if level.size < 6 or power == 0:
        return 0.0, whole
    # Neighbours share the slow part and nothing else, so their product estimates its square.
    slow = float(np.mean(level[1:] * level[:-1])) + power / level.size
    wander = float(np.clip(slow, 0.0, power))
    return wander, max(whole - wander, 0.0)


def _assumptions(n_cycles: int) -> tuple[str, ...]:
    """Return what the parts mean."""
    said = [
        "Parts are of the mean squared difference and add up to it; their roots do not.",
        (
            "Parts describe, they do not explain: what of a repeating pattern looks like a shift "
            "or a change of size is counted as that."
        ),
    ]
    if n_cycles < 6:
        said.append("Fewer than 6 cycles: wander cannot be told from the random rest.")
    return tuple(said)
