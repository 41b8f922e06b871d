"""Limits of agreement where bias or spread follows the size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
import scipy
from numpy.typing import ArrayLike

from twinangle.agreement._from_frame import columns
from twinangle.agreement._input import Floats, finite_array, finite_pair, fraction, read_only
from twinangle.agreement._quantiles import half_width, two_sided_student
from twinangle.agreement._result import Interval, Result, counted, interval, quantity
from twinangle.agreement._size_bands import line_bands
from twinangle.agreement.limits import limits_of_agreement
from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.declare import InUnit, data, number

if TYPE_CHECKING:
    import pandas as pd

FEWEST_FOR_A_LINE_OF_SPREAD = 10  # fewer cannot show how the spread changes along the sizes


@dataclass(frozen=True, slots=True, eq=False)
class LimitsAtSize(Result):
    """Bias and limits of agreement at one size of the measurement, from lines on the size."""

    size: Annotated[float, data("the size: mean of both instruments")]
    bias: Annotated[float, data("bias at that size, on its line")]
    bias_ci: Interval
    lower: Annotated[float, data("lower limit at that size, on its line")]
    lower_ci: Interval
    upper: Annotated[float, data("upper limit at that size, on its line")]
    upper_ci: Interval
    constant_spread: Annotated[bool, number("whether one SD is used at every size")]
    n_participants: Annotated[int, number("pairs, one a participant")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        said = [
            f"{quantity(value, unit)} ({interval(ends, unit, self.confidence)})"
            for value, ends in (
                (self.bias, self.bias_ci),
                (self.lower, self.lower_ci),
                (self.upper, self.upper_ci),
            )
        ]
        return (
            f"At a size of {quantity(self.size, unit)} the bias was {said[0]} and the limits of "
            f"agreement {said[1]} to {said[2]}; {counted(self.n_participants, 'pair')}."
        )


@dataclass(frozen=True, slots=True, eq=False)
class RegressionLimits(Result):
    """Limits of agreement as straight lines on the size of the measurement."""

    intercept: Annotated[
        float,
        data("intercept of the difference on the size, the mean of both instruments"),
    ]
    intercept_ci: Interval
    slope: Annotated[float, number("slope of the difference on the size")]
    slope_ci: Interval
    residual_sd: Annotated[float, data("SD about that line")]
    spread_intercept: Annotated[float, data("intercept of the SD on the size")]
    spread_slope: Annotated[float, number("slope of the SD on the size; 0 when `constant_spread`")]
    spread_slope_ci: Interval
    constant_spread: Annotated[bool, number("whether one SD is used at every size")]
    n_participants: Annotated[int, number("pairs, one a participant")]
    coverage: Annotated[float, number("share of differences between the limits")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]
    sizes: Annotated[Floats, data("sizes of the pairs: mean of both instruments")]
    differences: Annotated[Floats, data("differences of the pairs: test minus reference")]

    def at(self, size: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Return bias, lower and upper limit at each size (same unit as the measurements)."""
        where = np.asarray(size, dtype=np.float64)
        bias = self.intercept + self.slope * where
        spread = np.maximum(self.spread_intercept + self.spread_slope * where, 0)
        reach = half_width(self.coverage) * spread
        return bias, bias - reach, bias + reach

    def intervals_at(self, size: ArrayLike) -> tuple[LimitsAtSize, ...]:
        """Return bias and limits with their intervals over participants at each size.

        Parameters
        ----------
        size : array_like of float, shape (m,) or a single one
            Finite, in the unit of the measurements, best within the range of the sizes seen.

        Returns
        -------
        tuple of LimitsAtSize
            One a size, in the order given. The outer bound of a limit is infinite where the
            spread at that size rests on too little.

        Raises
        ------
        ValueError
            If a size is missing or infinite.

        Notes
        -----
        Each interval is for its own size, not for all sizes at once. With one standard deviation
        at every size they are exact: the confidence band of the line, and the noncentral t on
        n - 2 degrees of freedom for the limits [1]_. Where the standard deviation follows the size
        the same form is used with the standard deviation and the degrees of freedom at that size;
        formulas are in `twinangle.agreement._size_bands.line_bands`. They are centred on residuals
        freed of what fitting took from them, so the limits of Bland & Altman [2]_, which are not,
        need not lie in the middle.

        References
        ----------
        .. [1] Draper & Smith (1998). Applied Regression Analysis, 3rd ed. Wiley, section 3.1.
           Krishnamoorthy & Mathew (2009). Statistical Tolerance Regions. Wiley, chapter 3.
        .. [2] Bland & Altman (1999). Stat Methods Med Res 8, 135-160, section 3.2.
        """
        where = finite_array(np.atleast_1d(np.asarray(size, dtype=np.float64)), "size", ndim=1)
        bounds = line_bands(
            self.sizes, self.differences, where, constant_spread=self.constant_spread,
            confidence=self.confidence, coverage=self.coverage,
        )  # fmt: skip
        bias, lower, upper = self.at(where)

        def ends(name: str, i: int) -> Interval:
            return float(bounds[f"{name}_ci_low"][i]), float(bounds[f"{name}_ci_high"][i])

        return tuple(
            LimitsAtSize(
                size=float(at),
                bias=float(bias[i]),
                bias_ci=ends("bias", i),
                lower=float(lower[i]),
                lower_ci=ends("lower", i),
                upper=float(upper[i]),
                upper_ci=ends("upper", i),
                constant_spread=self.constant_spread,
                n_participants=self.n_participants,
                confidence=self.confidence,
                assumptions=self.assumptions,
            )
            for i, at in enumerate(where)
        )

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        spread = (
            quantity(self.residual_sd, unit)
            if self.constant_spread
            else f"{quantity(self.spread_intercept, unit)} + {self.spread_slope:.3f} × size"
        )
        return (
            f"The difference followed the size as {quantity(self.intercept, unit)} + "
            f"{self.slope:.3f} × size (slope {interval(self.slope_ci, '', self.confidence)}), "
            f"standard deviation {spread}; {self.n_participants} pairs."
        )


def regression_limits(
    test: ArrayLike,
    reference: ArrayLike,
    *,
    constant_spread: bool = False,
    confidence: float = 0.95,
    coverage: float = 0.95,
    data: pd.DataFrame | None = None,
) -> RegressionLimits:
    """Estimate limits of agreement that follow the size of the measurement.

    Parameters
    ----------
    test, reference : array_like of float, shape (n,)
        One pair a participant.
    constant_spread : bool, default False
        Use one standard deviation at every size instead of a line.
    confidence, coverage : float, default 0.95
        Of the intervals and of the limits.
    data : DataFrame, optional
        A table; the arguments before are then names of its columns.

    Returns
    -------
    RegressionLimits

    Raises
    ------
    ValueError
        If there are fewer than 4 pairs, a value is missing or infinite, or all sizes are equal.

    Notes
    -----
    Difference D on size A = (test + reference)/2 by least squares; the absolute residuals on A
    again; a normal residual has mean absolute value σ √(2/π), so the standard deviation at A is
    that line times √(π/2) [1]_.

    References
    ----------
    .. [1] Bland & Altman (1999). Stat Methods Med Res 8, 135-160, section 3.2.
    """
    test, reference = columns(data, test=test, reference=reference)
    test, reference = finite_pair(test, reference, ndim=1, min_rows=4)
    fraction(confidence, "confidence"), fraction(coverage, "coverage")
    size, difference = (test + reference) / 2, test - reference
    if np.ptp(size) == 0:
        raise ValueError(f"all pairs have the size {size[0]:g}: there is no line to fit.")
    line = scipy.stats.linregress(size, difference)
    residual = difference - line.intercept - line.slope * size
    folded = scipy.stats.linregress(size, np.abs(residual) * np.sqrt(np.pi / 2))
    residual_sd = float(np.sqrt(residual @ residual / (size.size - 2)))
    t = two_sided_student(confidence, size.size - 2)
    return RegressionLimits(
        intercept=float(line.intercept),
        intercept_ci=_around(line.intercept, t * line.intercept_stderr),
        slope=float(line.slope),
        slope_ci=_around(line.slope, t * line.stderr),
        residual_sd=residual_sd,
        spread_intercept=residual_sd if constant_spread else float(folded.intercept),
        spread_slope=0.0 if constant_spread else float(folded.slope),
        spread_slope_ci=_around(folded.slope, t * folded.stderr),
        constant_spread=constant_spread,
        n_participants=size.size,
        coverage=coverage,
        confidence=confidence,
        assumptions=(
            "Pairs are of different participants; residuals are normal.",
            "Bias follows the size along a straight line, and so does the standard deviation.",
            (
                "The size is the mean of both instruments, so a slope can also come from "
                "instruments that differ in their own error."
            ),
        ),
        sizes=read_only(size),
        differences=read_only(difference),
    )


@dataclass(frozen=True, slots=True, eq=False)
class RatioLimits(Result):
    """Limits of agreement of the ratio test / reference."""

    ratio: Annotated[float, number("geometric mean ratio")]
    ratio_ci: Interval
    lower: Annotated[float, number("lower limit of agreement of the ratio")]
    lower_ci: Interval
    upper: Annotated[float, number("upper limit of agreement of the ratio")]
    upper_ci: Interval
    n_participants: Annotated[int, number("participants")]
    n_observations: Annotated[int, number("pairs")]
    confidence: Annotated[float, number("confidence of the intervals")]
    logarithms: Annotated[
        LimitsOfAgreement,
        number(
            "limits of the differences of natural logarithms, which those of the ratio come from"
        ),
        InUnit(""),
    ]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded; a ratio has no unit."""
        ci = [interval(b, "", self.confidence) for b in (self.ratio_ci, self.lower_ci)]
        return (
            f"Ratio {quantity(self.ratio, '')} ({ci[0]}), limits of agreement "
            f"{quantity(self.lower, '')} ({ci[1]}) to {quantity(self.upper, '')} "
            f"({interval(self.upper_ci, '', self.confidence)}); "
            f"{counted(self.n_observations, 'pair')} of "
            f"{counted(self.n_participants, 'participant')}."
        )


def ratio_limits(
    test: ArrayLike,
    reference: ArrayLike,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    coverage: float = 0.95,
    data: pd.DataFrame | None = None,
) -> RatioLimits:
    """Estimate limits of agreement of test / reference, from logarithms.

    Parameters
    ----------
    test, reference : array_like of float, shape (n,)
        Pairs, all above 0 on a scale with a true zero (so not an angle that passes neutral).
    participant : array_like, shape (n,), optional
        Whose pair each is; None: one pair a participant.
    confidence, coverage : float, default 0.95
        Of the intervals and of the limits.
    data : DataFrame, optional
        A table; the arguments before are then names of its columns.

    Returns
    -------
    RatioLimits
        exp of the limits and intervals of ln(test) - ln(reference).

    Raises
    ------
    ValueError
        If a value is not above 0, or as `limits_of_agreement`.

    References
    ----------
    .. [1] Bland & Altman (1999). Stat Methods Med Res 8, 135-160, section 3.1.
    """
    test, reference, participant = columns(
        data, test=test, reference=reference, participant=participant
    )
    test, reference = finite_pair(test, reference, ndim=1, min_rows=2, participant=participant)
    for values, name in ((test, "test"), (reference, "reference")):
        if values.min() <= 0:
            at = int(np.argmin(values))
            raise ValueError(
                f"`{name}` is {values[at]:g} at index {at}; ratios need values above 0."
            )
    logs = limits_of_agreement(
        np.log(test) - np.log(reference), participant, confidence=confidence, coverage=coverage
    )
    bounds = {
        name: (float(np.exp(ci[0])), float(np.exp(ci[1])))
        for name, ci in (
            ("ratio_ci", logs.bias_ci),
            ("lower_ci", logs.lower_ci),
            ("upper_ci", logs.upper_ci),
        )
    }
    return RatioLimits(
        ratio=float(np.exp(logs.bias)),
        lower=float(np.exp(logs.lower)),
        upper=float(np.exp(logs.upper)),
        n_participants=logs.n_participants,
        n_observations=logs.n_observations,
        confidence=confidence,
        logarithms=logs,
        assumptions=("The ratio is as variable at every size.", *logs.assumptions),
        **bounds,
    )


def _around(centre: float, half: float) -> Interval:
    """Return the interval of a half-width around a centre."""
    return float(centre - half), float(centre + half)
