"""What the difference between two instruments is made of: an error budget that adds up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._budget_parts import (
    FEWEST,
    PARTS,
    CycleReadings,
    parts_without,
    read_cycles,
)
from twinangle.agreement._from_frame import curves as curves_of
from twinangle.agreement._input import Floats, finite_pair, fraction
from twinangle.agreement._jackknife import few_cycles, pseudo_interval, spread_interval
from twinangle.agreement._result import (
    NO_INTERVAL,
    Interval,
    Result,
    counted,
    holding,
    interval,
    quantity,
)
from twinangle.agreement._serial import serial_values
from twinangle.agreement._shapes import Shapes, delay, shapes_of
from twinangle.declare import measured, number, squared

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["PARTS", "BudgetParts", "ErrorBudget", "error_budget"]

PART_WORDS = {
    "shared": "pattern, range of motion or timing",
    "cycle_offset": "offset of single cycles",
    "cycle_range": "range of single cycles",
    "cycle_timing": "timing of single cycles",
}
_BLOCKS = 100  # of neighbouring cycles at most, left out in turn; up to 100 cycles, each alone


@dataclass(frozen=True, slots=True, eq=False)
class BudgetParts(Result):
    """Parts of the mean squared difference of curves, none below 0; they add up to `total`.

    The first five repeat every cycle, the others differ from cycle to cycle.
    """

    total: Annotated[float, squared("mean over cycles and points of (test - reference)²")]
    total_ci: Interval
    offset: Annotated[float, squared("part that is a constant shift, repeated every cycle")]
    offset_ci: Interval
    range: Annotated[
        float,
        squared(
            "part that is a difference of size, as far as it holds whichever part of the "
            "cycle is looked at"
        ),
    ]
    range_ci: Interval
    timing: Annotated[
        float,
        squared(
            "part that is a delay, as far as it holds whichever part of the cycle is looked at"
        ),
    ]
    timing_ci: Interval
    shared: Annotated[
        float,
        squared(
            "part that fits a difference of size or a delay but hangs on one stretch or one "
            "harmonic of the cycle, so that it may as well be a pattern"
        ),
    ]
    shared_ci: Interval
    pattern: Annotated[
        float,
        squared("part that is a pattern over the cycle, neither size nor delay"),
    ]
    pattern_ci: Interval
    slow_drift: Annotated[float, squared("part that is a level moving slowly from cycle to cycle")]
    slow_drift_ci: Interval
    cycle_offset: Annotated[float, squared("part that is the level of single cycles")]
    cycle_offset_ci: Interval
    cycle_range: Annotated[float, squared("part that is the size of single cycles")]
    cycle_range_ci: Interval
    cycle_timing: Annotated[float, squared("part that is the delay of single cycles")]
    cycle_timing_ci: Interval
    random: Annotated[float, squared("part that is left: random from cycle to cycle")]
    random_ci: Interval


@dataclass(frozen=True, slots=True, eq=False)
class ErrorBudget(BudgetParts):
    """The parts of one participant's difference, with intervals over the cycles from 6 on."""

    gain: Annotated[
        float,
        number("size of the test curve over the reference's, over the whole cycle"),
    ]
    gain_ci: Interval
    gain_span: Annotated[
        Interval,
        number("smallest and largest gain of the views: without each quarter and each harmonic"),
    ]
    shift: Annotated[
        float,
        measured(
            "points", "points of the cycle by which the test curve is late, over the whole cycle"
        ),
    ]
    shift_span: Annotated[Interval, measured("points", "smallest and largest shift of the views")]
    n_cycles: Annotated[int, number("cycles seen")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the parts mean")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded; parts as root mean squares and shares."""
        parts = ", ".join(
            f"{PART_WORDS.get(name, name)} {quantity(float(np.sqrt(getattr(self, name))), unit)} "
            f"({100 * self.share(name):.0f} %)"
            for name in PARTS
        )
        return (
            f"Root mean square difference {quantity(float(np.sqrt(self.total)), unit)} "
            f"({interval(roots(self.total_ci), unit, self.confidence)}) over "
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


def error_budget(
    test: ArrayLike,
    reference: ArrayLike,
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> ErrorBudget:
    """Part the mean squared difference of two instruments' curves by its causes.

    Parameters
    ----------
    test, reference : array_like of float, shape (n_cycles, n_points)
        Curves of the same cycles in the order measured, both ends of the cycle included.
    confidence : float, default 0.95
        Of the intervals.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns.
    cycle, point : str
        Its columns of the cycle (or several that tell cycles apart) and of the point within it.

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
    With d_ij the difference in cycle i at point j, D_j its mean over cycles, and mean squares MS
    taken over all cycles and points, total = MS(d) = MS(D) + MS(d - D).

    *Mean curve.* offset = (mean D)². D - mean D = a m + c m' + e by joint least squares, m the
    reference's demeaned mean curve read half the shift late and m' its slope: to third order, a
    gain of 1 + a and a shift of s points leave nothing in e, s = -c / (1 + a/2) (found in a few
    rounds, at most an eighth of the cycle, which repeats). pattern = MS(e). What of a m + c m' is
    truly a gain or a delay no mean curve can tell by itself: a bump on one flank of the curve is
    taken half for a delay, a first harmonic half for a gain. But a gain and a delay are the same
    everywhere in the cycle, so a and c are fitted again without each quarter of the cycle (in
    steps of 1/16), without each of the first six harmonics, and each alone (where the two shapes
    are collinear); a view that keeps less than a twentieth of the knowledge of a or c is passed
    over. a* and c*, the smallest sizes among the views, 0 where signs differ, give::

        range  = a*² MS(m)
        timing = c*² MS(m')
        shared = MS(a m + c m') - range - timing     fits either, and a pattern as well

    None is negative. A gain and a delay with a pattern that lies within a quarter of the cycle or
    in one harmonic are within `gain_span` and `shift_span`.

    *Between cycles.* d_i - D = L_i + a_i m + c_i m' + e_i in the same way, m and m' made orthogonal
    symmetrically. Neighbouring cycles share the slow part of L and nothing else, so
    slow_drift = mean(L_i L_i+1) + MS(L)/n (for the bias that taking D out brings), between 0 and
    MS(L);
    cycle_offset is the rest of MS(L), cycle_range and cycle_timing the mean squares of a_i m and
    c_i m', random that of e_i. What random variation with the spectrum of e_i shows in L, m and m'
    is moved to random (in proportion to the shapes' own spectra). The mean of n cycles keeps
    1/(n_e - 1) of these, n_e = n (1 - p)/(1 + p) with p the lag-1 serial correlation of e_i freed
    of its small-sample bias: of MS(e_i) it is moved from pattern to random, of a_i m + c_i m'
    from shared to where it comes from.

    *Intervals* are over this participant's cycles, from 6 on: a jackknife that leaves out one
    cycle in turn (above 100 cycles one of 100 blocks of neighbouring ones [2]_), shapes and views
    kept, of the roots of the parts, ends squared and not below 0; gain likewise as it is. The
    half-width is Student's t averaged over the serial correlations that the pseudo-values allow
    (`_serial.serial_values`). Cycle_offset reaches up
    to where that of cycle_offset and slow_drift together ends, for the split of the two is a guess
    with few cycles. Random: the same jackknife of its logarithm, on
    n (1 - p²)/(1 + p²) cycles, p the lag-1 autocorrelation of d - D, freed of its small-sample
    bias and at most 0.7. It reaches up to where that of all ends that noise of its spectrum should
    show in L, m and m': what these hold less by chance is lost to it (5 % of it with 20 cycles in
    simulated trials), and what they hold more is taken for their own. Slow drift:
    what neighbours share, p σ², of values L_i with a first-order serial correlation p and variance
    σ², averaged over p in the same way, widened to the part itself where it misses that; few cycles
    make the part too small, and the interval makes up for that. Where the level drifts so slowly
    that the trial holds few of its swings, the intervals of offset, slow drift and total are too
    narrow.

    The definitions are this package's own.

    References
    ----------
    .. [1] Kobayashi & Salam (2000). Agron J 92, 345-352 (for offset, size and pattern).
    .. [2] Künsch (1989). Ann Stat 17, 1217-1241 (jackknife with blocks).
    """
    test, reference, _ = curves_of(data, cycle, point, test=test, reference=reference)
    test, reference = finite_pair(test, reference, ndim=2)
    confidence = fraction(confidence, "confidence")
    if test.shape[1] < 8:
        raise ValueError(f"`test` needs at least 8 points a cycle, got shape {test.shape}.")
    shapes = shapes_of(test.mean(axis=0), reference.mean(axis=0))
    readings = read_cycles(test, reference, shapes)
    whole = np.zeros(0, dtype=np.int64)
    parts = {name: float(x[0]) for name, x in parts_without(readings, shapes, [whole]).items()}
    fit = _gain_and_shift(readings, shapes)
    found: dict[str, Any] = {name: parts[name] for name in ("total", *PARTS)} | fit
    intervals: dict[str, Any] = {f"{name}_ci": NO_INTERVAL for name in ("total", *PARTS, "gain")}
    if test.shape[0] >= FEWEST:
        intervals = _intervals(readings, shapes, parts, fit["gain"], confidence)
    return ErrorBudget(
        **found,
        **intervals,
        n_cycles=test.shape[0],
        confidence=confidence,
        assumptions=part_assumptions(
            test.shape[0],
            drifts=parts["slow_drift"] > 0.1 * parts["total"],
            unclear=parts["shared"] > 0.1 * parts["total"],
        ),
    )


def _gain_and_shift(readings: CycleReadings, shapes: Shapes) -> dict[str, Any]:
    """Return gain and shift over the whole cycle, and their spans over the views."""
    nothing = float("nan")
    if not shapes.squares[0] > 0:
        return {"gain": nothing, "gain_span": NO_INTERVAL, "shift": 0.0, "shift_span": NO_INTERVAL}
    size, late = shapes.views(readings.difference.mean(axis=0)).T
    shifts = delay(np.where(np.isnan(size), size[0], size), late)
    return {
        "gain": float(1 + size[0]),
        "gain_span": (float(1 + np.nanmin(size)), float(1 + np.nanmax(size))),
        "shift": float(shifts[0]),
        "shift_span": (float(np.nanmin(shifts)), float(np.nanmax(shifts))),
    }


def _intervals(
    readings: CycleReadings,
    shapes: Shapes,
    parts: dict[str, float],
    gain: float,
    confidence: float,
) -> dict[str, Any]:
    """Return the intervals of total, parts and gain over the cycles."""
    n = readings.level.size
    blocks = np.array_split(np.arange(n), min(n, _BLOCKS))
    less = parts_without(readings, shapes, blocks)
    found = {
        name: _root_interval(parts[name], less[name], confidence)
        for name in ("total", *PARTS)
        if name not in ("random", "slow_drift")  # these have intervals of their own
    }
    varied = readings.difference - readings.difference.mean(axis=0)
    random, most = (
        spread_interval(parts[name], less[name], varied, confidence)
        for name in ("random", "random_most")
    )
    found["random"] = _reaching(random, most)
    found["slow_drift"] = holding(
        serial_values(readings.level).shared(confidence), parts["slow_drift"]
    )
    both = (parts["cycle_offset"] + parts["slow_drift"], less["cycle_offset"] + less["slow_drift"])
    found["cycle_offset"] = _reaching(found["cycle_offset"], _root_interval(*both, confidence))
    gains = np.array(
        [1 + np.delete(readings.difference, block, axis=0).mean(axis=0) @ shapes.maps[0, 0]
         for block in blocks]
    )  # fmt: skip
    found["gain"] = pseudo_interval(gain, gains, confidence)
    return {f"{name}_ci": bounds for name, bounds in found.items()}


def _root_interval(value: float, less: Floats, confidence: float) -> Interval:
    """Return the jackknife's interval of a part, on the scale of the root."""
    root, roots = float(np.sqrt(value)), np.sqrt(np.maximum(less, 0))
    if root == 0 and not roots.any():
        return NO_INTERVAL
    low, high = pseudo_interval(root, roots, confidence)
    return max(low, 0.0) ** 2, high**2


def _reaching(bounds: Interval, level: Interval) -> Interval:
    """Return the interval up to where that of the whole level ends.

    With few cycles a level without any slow part shows some by chance, which cycle_offset lacks;
    and of what noise shows as level, size and delay, random lacks what these hold less by chance.
    """
    if not np.isfinite(level[1]):
        return bounds
    low, high = (0.0, 0.0) if np.isnan(bounds[0]) else bounds
    return low, max(high, level[1])


def roots(bounds: Interval) -> Interval:
    """Return the interval of a root mean square from that of the mean square."""
    return float(np.sqrt(bounds[0])), float(np.sqrt(bounds[1]))


def part_assumptions(n_cycles: int, *, drifts: bool, unclear: bool) -> tuple[str, ...]:
    """Return what the parts mean."""
    said = ["Parts are of the mean squared difference and add up to it; their roots do not."]
    if unclear:
        said.append(
            "Part of the mean difference fits a difference of range of motion or a delay only in "
            "one stretch or harmonic of the cycle; it may be a pattern as well and is given apart."
        )
    if n_cycles < FEWEST:
        said.append(
            f"Fewer than {FEWEST} cycles: slow drift cannot be told from what else moves the level."
        )
    else:
        said += few_cycles(n_cycles)
    if drifts:
        said.append(
            "The level drifts: where it does so slowly, so that the trial holds few of its "
            "swings, the intervals over the cycles of offset, slow drift and whole are too narrow."
        )
    return tuple(said)
