"""Cycle-to-cycle variability of one instrument, and of two on the same cycles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._from_frame import curves as curves_of
from twinangle.agreement._input import Floats, finite_array, finite_pair, fraction, read_only
from twinangle.agreement._jackknife import effective_cycles, serial_correlation
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement._result import (
    NO_INTERVAL,
    Interval,
    Result,
    holding,
    interval,
    quantity,
)
from twinangle.declare import Aside, data, number

if TYPE_CHECKING:
    import pandas as pd

_ONE_PARTICIPANT = (
    "The interval speaks of this participant's further cycles, not of other participants."
)
_SERIAL = (
    "The interval is a delete-one-cycle jackknife; neighbouring cycles that resemble each other "
    "lower the number of cycles it counts on (n_effective)."
)


@dataclass(frozen=True, slots=True, eq=False)
class CycleVariability(Result):
    """Standard deviation over cycles, at each point and averaged over the points."""

    sd: Annotated[float, data("SD over cycles (divisor n - 1) averaged over the points")]
    sd_ci: Interval
    sd_curve: Annotated[Floats, data("SD over cycles at each point")]
    mean_curve: Annotated[Floats, data("mean over cycles at each point")]
    curves: Annotated[
        Floats,
        data("the cycles themselves, for a comparison of conditions"),
        Aside(np.zeros((0, 0))),
    ]
    n_cycles: Annotated[int, number("cycles seen")]
    n_effective: Annotated[float, number("independent cycles that they are worth for the interval")]
    confidence: Annotated[float, number("confidence of the interval")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"The standard deviation over {self.n_cycles} cycles, averaged over the cycle, was "
            f"{quantity(self.sd, unit)} ({interval(self.sd_ci, unit, self.confidence)})."
        )


@dataclass(frozen=True, slots=True, eq=False)
class VariabilityComparison(Result):
    """Per-cycle standard deviation of two instruments on the same cycles of one participant."""

    test_sd: Annotated[
        float,
        data("SD over cycles of the test instrument, averaged over the points"),
    ]
    reference_sd: Annotated[
        float,
        data("SD over cycles of the reference, averaged over the points"),
    ]
    ratio: Annotated[float, number("test_sd / reference_sd; NaN when the reference does not vary")]
    ratio_ci: Interval
    difference: Annotated[float, data("test_sd - reference_sd")]
    difference_ci: Interval
    added_sd: Annotated[
        float,
        data("√(test_sd² - reference_sd²); NaN when the test instrument varies less"),
    ]
    added_sd_ci: Interval
    n_cycles: Annotated[int, number("cycles seen")]
    n_effective: Annotated[
        float,
        number("independent cycles that they are worth for the intervals"),
    ]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        added = (
            f"the test instrument adds {quantity(self.added_sd, unit)} "
            f"({interval(self.added_sd_ci, unit, self.confidence)})"
            if np.isfinite(self.added_sd)
            else "the test instrument varies less, so it has no added standard deviation"
        )
        return (
            f"The standard deviation over {self.n_cycles} cycles was "
            f"{quantity(self.test_sd, unit)} against {quantity(self.reference_sd, unit)}: "
            f"difference {quantity(self.difference, unit)} "
            f"({interval(self.difference_ci, unit, self.confidence)}), ratio "
            f"{quantity(self.ratio, '')} ({interval(self.ratio_ci, '', self.confidence)}); {added}."
        )


def cycle_variability(
    curves: ArrayLike,
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> CycleVariability:
    """Measure how much curves vary from cycle to cycle.

    Parameters
    ----------
    curves : array_like of float, shape (n_cycles, n_points)
        Time-normalised curves, one row a cycle.
    confidence : float, default 0.95
        Of the interval.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns.
    cycle, point : str
        Its columns of the cycle (or several that tell cycles apart) and of the point within it.

    Returns
    -------
    CycleVariability

    Raises
    ------
    ValueError
        If there are fewer than 2 cycles, a value is missing or infinite, or `confidence` is not
        between 0 and 1.

    Notes
    -----
    The interval is a jackknife over cycles of ln(sd), Student's t on n_e - 1 degrees of freedom,
    with n_e = n (1 - p) / (1 + p). p is the square of r, the lag-1 autocorrelation of the curves
    about their mean (summed over the points, freed of its small-sample bias [2]_): the
    autocorrelation of a product of two Gaussian series is the product of theirs. Cycles that
    resemble their neighbours vary less about their own mean than about the true one; the interval
    (not `sd`) makes up for it: with m = n (1 - r)/(1 + r) it is centred on
    sd √[(1 - 1/n)/(1 - 1/m)], the last bracket not below 0.3, and
    widened to `sd` itself where it missed that.

    References
    ----------
    .. [1] Efron & Tibshirani (1993). An Introduction to the Bootstrap, ch. 11 (jackknife).
    .. [2] Marriott & Pope (1954). Biometrika 41, 390-402.
    """
    curves, _ = curves_of(data, cycle, point, curves=curves)
    curves = finite_array(curves, "curves", ndim=2, min_rows=2)
    confidence = fraction(confidence, "confidence")
    sd_curve = curves.std(axis=0, ddof=1)
    sd = float(sd_curve.mean())
    serial = serial_correlation(curves, corrected=True)
    n_effective = effective_cycles(curves.shape[0], serial**2)
    bounds = NO_INTERVAL
    if curves.shape[0] > 2 and sd > 0:
        left_out = _sd_left_out(curves)
        if left_out.min() > 0:
            centre = np.log(sd) + _serial_loss(curves.shape[0], serial)
            low, high = _jackknife(centre, np.log(left_out), n_effective, confidence)
            bounds = holding((float(np.exp(low)), float(np.exp(high))), sd)
    return CycleVariability(
        sd=sd,
        sd_ci=bounds,
        sd_curve=read_only(sd_curve),
        mean_curve=read_only(curves.mean(axis=0)),
        curves=read_only(curves),
        n_cycles=curves.shape[0],
        n_effective=n_effective,
        confidence=confidence,
        assumptions=(*_cautions(curves.shape[0]), _ONE_PARTICIPANT, _SERIAL),
    )


def compare_variability(
    test: ArrayLike,
    reference: ArrayLike,
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> VariabilityComparison:
    """Compare how much two instruments vary over the same cycles of one participant.

    Parameters
    ----------
    test, reference : array_like of float, shape (n_cycles, n_points)
        Curves of the same cycles, row by row.
    confidence : float, default 0.95
        Of the intervals.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns.
    cycle, point : str
        Its columns of the cycle (or several that tell cycles apart) and of the point within it.

    Returns
    -------
    VariabilityComparison

    Raises
    ------
    ValueError
        If there are fewer than 2 cycles, a value is missing or infinite, the shapes differ, or
        `confidence` is not between 0 and 1.

    Notes
    -----
    Both instruments see the same cycles, so their standard deviations w and r are correlated and
    the intervals must delete a cycle from both at once: a jackknife of ln(w/r), of w - r and of
    w² - r², Student's t on n_e - 1 degrees of freedom. This carries the idea of Pitman and Morgan
    from one value a cycle to curves averaged over their points. As there, all rests on the
    products of the scaled sum and difference; n_e = n (1 - p) / (1 + p) with p the product of the
    lag-1 autocorrelations of test/w + reference/r and test/w - reference/r (each corrected by
    1/n for its bias, not below 0). The interval of the added SD is that of w² - r², which a
    correlation taken too small harms most: there the autocorrelations are corrected for the whole
    of their small-sample bias (Marriott & Pope 1954). `benchmarks/coverage.py` shows what the
    intervals hold.

    References
    ----------
    .. [1] Pitman (1939). Biometrika 31, 9-12. Morgan (1939). Biometrika 31, 13-19.
    .. [2] Efron & Tibshirani (1993). An Introduction to the Bootstrap, ch. 11 (jackknife).
    """
    test, reference, _ = curves_of(data, cycle, point, test=test, reference=reference)
    test, reference = finite_pair(test, reference, ndim=2, min_rows=2)
    confidence = fraction(confidence, "confidence")
    n = test.shape[0]
    w, r = _averaged_sd(test), _averaged_sd(reference)
    n_effective = effective_cycles(n, _shared_correlation(test, reference, w, r))
    n_added = effective_cycles(n, _shared_correlation(test, reference, w, r, corrected=True))
    ratio_ci, difference_ci, square_ci = _paired_intervals(
        test, reference, (n_effective, n_added), confidence
    )
    return VariabilityComparison(
        test_sd=w,
        reference_sd=r,
        ratio=w / r if r > 0 else float("nan"),
        ratio_ci=ratio_ci,
        difference=w - r,
        difference_ci=difference_ci,
        added_sd=float(np.sqrt(w**2 - r**2)) if w >= r else float("nan"),
        added_sd_ci=(float(np.sqrt(max(square_ci[0], 0.0))), float(np.sqrt(max(square_ci[1], 0.0))))
        if np.isfinite(square_ci[0])
        else NO_INTERVAL,
        n_cycles=n,
        n_effective=n_effective,
        confidence=confidence,
        assumptions=(*_cautions(n), *_comparison_cautions(w, r), _ONE_PARTICIPANT, _SERIAL),
    )


def _averaged_sd(curves: Floats) -> float:
    """Return the standard deviation over cycles averaged over the points."""
    return float(curves.std(axis=0, ddof=1).mean())


def _sd_left_out(curves: Floats) -> Floats:
    """Return the averaged standard deviation with each cycle left out in turn."""
    n = curves.shape[0]
    squared = (curves - curves.mean(axis=0)) ** 2
    rest = squared.sum(axis=0) - n / (n - 1) * squared
    left_out: Floats = np.sqrt(np.maximum(rest, 0) / (n - 2)).mean(axis=1)
    return left_out


def _jackknife(
    estimate: float, left_out: Floats, n_effective: float, confidence: float
) -> Interval:
    """Return the jackknife interval from the estimates with one cycle left out."""
    spread = (left_out.size - 1) * left_out.std(ddof=1)  # of the pseudo-values
    t = two_sided_student(confidence, max(n_effective - 1, 1))
    half = t * spread / np.sqrt(n_effective)
    return float(estimate - half), float(estimate + half)


def _paired_intervals(
    test: Floats, reference: Floats, n_effective: tuple[float, float], confidence: float
) -> tuple[Interval, Interval, Interval]:
    """Return the intervals of ratio, difference and difference of squares.

    `n_effective`: cycles that the first two, and the last, count on.
    """
    if test.shape[0] < 3:
        return NO_INTERVAL, NO_INTERVAL, NO_INTERVAL
    w, r = _averaged_sd(test), _averaged_sd(reference)
    less_w, less_r = _sd_left_out(test), _sd_left_out(reference)
    ratio = NO_INTERVAL
    if min(w, r, less_w.min(), less_r.min()) > 0:
        low, high = _jackknife(np.log(w / r), np.log(less_w / less_r), n_effective[0], confidence)
        ratio = (float(np.exp(low)), float(np.exp(high)))
    return (
        ratio,
        _jackknife(w - r, less_w - less_r, n_effective[0], confidence),
        _jackknife(w**2 - r**2, less_w**2 - less_r**2, n_effective[1], confidence),
    )


def _serial_loss(n: int, serial: float) -> float:
    """Return by how much serial correlation lowers the logarithm of a standard deviation."""
    kept = max(1 - 1 / effective_cycles(n, serial), 0.3)
    return 0.5 * float(np.log((1 - 1 / n) / kept))


def _shared_correlation(
    test: Floats, reference: Floats, w: float, r: float, *, corrected: bool = False
) -> float:
    """Return the serial correlation of the products of scaled sum and difference."""
    if w == 0 or r == 0:
        one, other = (serial_correlation(x, corrected=corrected) for x in (test, reference))
        return max(one, other) ** 2
    total = serial_correlation(test / w + reference / r, corrected=corrected)
    return total * serial_correlation(test / w - reference / r, corrected=corrected)


def _cautions(n_cycles: int) -> tuple[str, ...]:
    """Return what is to be said of the number of cycles."""
    if n_cycles >= 50:
        return ()
    return (
        (
            f"{n_cycles} cycles: spatio-temporal parameters of consecutive cycles have a reliable "
            "variability from about 50 (König et al. 2014, Gait Posture 39:615); taken over here."
        ),
    )


def _comparison_cautions(w: float, r: float) -> tuple[str, ...]:
    """Return what is to be said of the sizes of both standard deviations."""
    said = ["The added SD takes the test instrument's own error as unrelated to the movement."]
    if w < r:
        said.append(
            "The test instrument varies less than the reference: w² - r² is negative and has no "
            "square root. Smoothing, or an error that opposes the movement, can do this."
        )
    if r == 0 or w == 0:
        said.append("An instrument that does not vary at all leaves the ratio without an interval.")
    return tuple(said)
