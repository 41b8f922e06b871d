"""Agreement of mean curves over the cycle: offset, shape, size and their parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._input import Floats, finite_array, finite_pair, fraction, read_only
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, interval, quantity


@dataclass(frozen=True, slots=True)
class LineFit:
    """Least-squares line y = intercept + slope x, with its fit.

    Attributes
    ----------
    slope, intercept : float
        Of the line; NaN when x is constant.
    r_squared : float
        Share of the variance of y on the line; NaN when x or y is constant.
    residual_sd : float
        Standard deviation about the line, with n - 2 degrees of freedom; NaN below 3 points.
    slope_se, intercept_se : float
        Standard errors; NaN below 3 points.
    """

    slope: float
    intercept: float
    r_squared: float
    residual_sd: float
    slope_se: float
    intercept_se: float


def fit_line(x: ArrayLike, y: ArrayLike) -> LineFit:
    """Fit a straight line of y on x by least squares.

    Parameters
    ----------
    x, y : array_like of float, shape (n,)
        Predictor and response.

    Returns
    -------
    LineFit
        slope = Sxy / Sxx and intercept = mean y - slope mean x, from centred sums.

    Raises
    ------
    ValueError
        If either is not finite, or the lengths differ.

    References
    ----------
    .. [1] NIST Statistical Reference Datasets, linear regression (Norris), certifies the results
       to 15 digits.
    """
    x = finite_array(x, "x", ndim=1)
    y = finite_array(y, "y", ndim=1)
    if x.size != y.size:
        raise ValueError(f"`x` has {x.size} values and `y` {y.size}; they must be paired.")
    dx, dy = x - x.mean(), y - y.mean()
    sxx, sxy, syy = float(dx @ dx), float(dx @ dy), float(dy @ dy)
    if sxx == 0:
        return LineFit(*[float("nan")] * 6)
    slope = sxy / sxx
    rest = dy - slope * dx
    spread = np.sqrt(float(rest @ rest) / (x.size - 2)) if x.size > 2 else float("nan")
    return LineFit(
        slope=slope,
        intercept=float(y.mean() - slope * x.mean()),
        r_squared=1 - float(rest @ rest) / syy if syy > 0 else float("nan"),
        residual_sd=float(spread),
        slope_se=float(spread / np.sqrt(sxx)),
        intercept_se=float(spread * np.sqrt(1 / x.size + x.mean() ** 2 / sxx)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class CurveAgreement(Result):
    """How one instrument's mean curve differs from the other's; differences are test - reference.

    Attributes
    ----------
    offset : float
        Mean over the cycle of the mean test curve minus that of the mean reference curve.
    rms_demeaned : float
        Root mean square over the points of the difference once each mean curve is demeaned.
    rmse : float
        Root mean square of the difference as it is: rmse² = offset² + rms_demeaned².
    range_difference : float
        Range (largest minus smallest) of the mean test curve minus that of the reference.
    correlation : float
        Pearson's, between the two mean curves; NaN when either is constant.
    slope, intercept, r_squared : float
        Line of the mean test curve on the mean reference curve; NaN when that is constant.
    msd_offset, msd_spread, msd_pattern : float
        Parts of the mean squared difference, in squared units; they add up to rmse².
    n_cycles : int
        Cycles behind the mean curves.
    offset_ci : tuple of float
        Interval of the offset over this participant's cycles; NaN below 3 cycles.
    confidence : float
        Of that interval.
    test_mean, reference_mean : ndarray of float, shape (n_points,)
        The mean curves.
    assumptions : tuple of str
        What the numbers rest on.
    """

    offset: float
    rms_demeaned: float
    rmse: float
    range_difference: float
    correlation: float
    slope: float
    intercept: float
    r_squared: float
    msd_offset: float
    msd_spread: float
    msd_pattern: float
    n_cycles: int
    offset_ci: Interval
    confidence: float
    test_mean: Floats
    reference_mean: Floats
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"Over {self.n_cycles} cycle(s) the mean curve was offset by "
            f"{quantity(self.offset, unit)} ({interval(self.offset_ci, unit, self.confidence)}), "
            f"differed by {quantity(self.rms_demeaned, unit)} RMS "
            f"once demeaned and by {quantity(self.range_difference, unit)} in range "
            f"(r = {quantity(self.correlation, '')})."
        )


def compare_curves(
    test: ArrayLike, reference: ArrayLike, *, confidence: float = 0.95
) -> CurveAgreement:
    """Compare the mean curves of two instruments over the same cycles.

    Parameters
    ----------
    test, reference : array_like of float, shape (n_cycles, n_points)
        Time-normalised curves of the same cycles, row by row, in the order measured, in the same
        unit.
    confidence : float, default 0.95
        Of the interval of the offset.

    Returns
    -------
    CurveAgreement
        Differences are test minus reference.

    Raises
    ------
    ValueError
        If a value is missing or infinite, the shapes differ, there are fewer than 2 points, or
        `confidence` is not between 0 and 1.

    Notes
    -----
    With w and r the mean curves, mw and mr their means over the points, sw and sr their standard
    deviations over the points (divisor n_points) and c their correlation::

        offset = mw - mr
        rms_demeaned² = mean(((w - mw) - (r - mr))²)
        rmse² = offset² + rms_demeaned²
              = offset² + (sw - sr)² + 2 sw sr (1 - c)

    The last line is the partition of Kobayashi & Salam [1]_: offset, difference of size, lack of
    similar pattern. The line of w on r is read as in Iosa et al. [2]_. The interval of the offset
    is Student's t on the cycles' own offsets, counted as n (1 - p)/(1 + p) cycles, p their lag-1
    autocorrelation (corrected by 1/n for its bias, not below 0); it says how well this
    participant's offset is known, not how offsets differ between participants.

    References
    ----------
    .. [1] Kobayashi & Salam (2000). Agron J 92, 345-352.
    .. [2] Iosa et al. (2014). Biomed Res Int 2014, 214156.
    """
    test, reference = finite_pair(test, reference, ndim=2)
    confidence = fraction(confidence, "confidence")
    if test.shape[1] < 2:
        raise ValueError(f"`test` needs at least 2 points a cycle, got shape {test.shape}.")
    w, r = test.mean(axis=0), reference.mean(axis=0)
    offset = float(w.mean() - r.mean())
    dw, dr = w - w.mean(), r - r.mean()
    rms_demeaned = float(np.sqrt(np.mean((dw - dr) ** 2)))
    sw, sr = float(np.sqrt(np.mean(dw**2))), float(np.sqrt(np.mean(dr**2)))
    line = fit_line(r, w)
    defined = sw > 0 and sr > 0
    return CurveAgreement(
        offset=offset,
        rms_demeaned=rms_demeaned,
        rmse=float(np.sqrt(np.mean((w - r) ** 2))),
        range_difference=float(np.ptp(w) - np.ptp(r)),
        correlation=float(np.clip(np.mean(dw * dr) / (sw * sr), -1, 1))
        if defined
        else float("nan"),
        slope=line.slope,
        intercept=line.intercept,
        r_squared=line.r_squared,
        msd_offset=offset**2,
        msd_spread=(sw - sr) ** 2,
        msd_pattern=2 * (sw * sr - float(np.mean(dw * dr))),
        n_cycles=test.shape[0],
        offset_ci=_offset_interval((test - reference).mean(axis=1), confidence),
        confidence=confidence,
        test_mean=read_only(w),
        reference_mean=read_only(r),
        assumptions=_assumptions(test.shape[0], defined),
    )


def _offset_interval(offsets: Floats, confidence: float) -> Interval:
    """Return the interval of the mean of serially correlated offsets of cycles."""
    n, mean = offsets.size, float(offsets.mean())
    if n < 3:
        return NO_INTERVAL
    centred = offsets - mean
    power = float(centred @ centred)
    serial = max(float(centred[1:] @ centred[:-1]) / power + 1 / n, 0.0) if power > 0 else 0.0
    counted = max(n * (1 - serial) / (1 + serial), 2.0)
    half = two_sided_student(confidence, counted - 1) * np.sqrt(power / (n - 1) / counted)
    return mean - float(half), mean + float(half)


def _assumptions(n_cycles: int, defined: bool) -> tuple[str, ...]:
    """Return what the comparison of mean curves rests on."""
    said = [
        "Both instruments' curves are of the same cycles, cut at the same instants of one clock.",
        (
            f"The comparison is of mean curves over {n_cycles} cycle(s); differences that cancel "
            "between cycles are not in it."
        ),
        "Correlation and r² say how alike the shapes are; they are not agreement.",
    ]
    if n_cycles < 10:
        said.append("Fewer than 10 cycles: the mean curve is not yet reliable (König et al. 2014).")
    if not defined:
        said.append("One of the mean curves is constant: correlation and line are not defined.")
    return tuple(said)
