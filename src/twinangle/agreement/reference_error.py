"""Limits of agreement freed of the error that the reference itself is known to have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._from_frame import difference_and_participant
from twinangle.agreement._input import finite_array, fraction, require_number
from twinangle.agreement._limit_intervals import FEWEST_PARTICIPANTS
from twinangle.agreement._participants import limits_over_participants
from twinangle.agreement._quantiles import half_width
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, interval, quantity
from twinangle.checks import require_not_negative
from twinangle.declare import data, number

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class CorrectedLimits(Result):
    """Limits of agreement with the reference's own known error taken out."""

    bias: Annotated[float, data("mean difference of test against the true value")]
    sd: Annotated[
        float,
        data(
            "SD of a single difference of test against the true value; NaN when the "
            "reference's variance exceeds that of the differences"
        ),
    ]
    lower: Annotated[float, data("lower limit of test against the true value; NaN as the SD")]
    lower_ci: Interval
    upper: Annotated[float, data("upper limit of test against the true value; NaN as the SD")]
    upper_ci: Interval
    sd_observed: Annotated[float, data("SD of the differences as recorded")]
    reference_sd: Annotated[float, data("SD of the reference's own error, as stated")]
    reference_share: Annotated[
        float,
        number(
            "share of the variance of the differences that is the reference's; above 1 when "
            "its stated error is larger than the differences allow"
        ),
    ]
    n_participants: Annotated[int, number("participants")]
    n_observations: Annotated[int, number("differences")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"With the reference's own error of {quantity(self.reference_sd, unit)} (SD) taken "
            f"out, the limits are {quantity(self.lower, unit)} "
            f"({interval(self.lower_ci, unit, self.confidence)}) to {quantity(self.upper, unit)} "
            f"({interval(self.upper_ci, unit, self.confidence)})."
        )


def limits_without_reference_error(
    difference: ArrayLike,
    reference_sd: float,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    coverage: float = 0.95,
    data: pd.DataFrame | None = None,
) -> CorrectedLimits:
    """Estimate the limits of agreement against the true value, the reference's error known.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference.
    reference_sd : float
        Standard deviation of a single reference value about the truth, 0 or more.
    participant : array_like, shape (n,), optional
        Whose difference each is; None: one a participant.
    confidence, coverage : float, default 0.95
        Of the intervals and of the limits.
    data : DataFrame, optional
        A table; `difference` is then the name of a column, or a pair of names, test and
        reference, and `participant` a name too.

    Returns
    -------
    CorrectedLimits

    Raises
    ------
    ValueError
        If `reference_sd` is negative, there are fewer than 2 participants, or as
        `limits_of_agreement`.

    Notes
    -----
    sd² = sd_observed² - reference_sd², and likewise for the bounds of its interval: errors of the
    two instruments are unrelated and the reference's is known without error. A bias of the
    reference cannot be taken out.
    """
    difference, participant = difference_and_participant(data, difference, participant, None, None)
    require_number(reference_sd, "reference_sd", "the SD of the reference's own error")
    require_not_negative(reference_sd, "reference_sd")
    fraction(confidence, "confidence"), fraction(coverage, "coverage")
    values = finite_array(difference, "difference", ndim=1, min_rows=2, participant=participant)
    parts = _several(variance_components(values, participant))
    estimate, z = parts.by_participant, half_width(coverage)
    square = estimate.sd**2 - reference_sd**2
    sd = float(np.sqrt(square)) if square >= 0 else float("nan")
    lower_ci, upper_ci = NO_INTERVAL, NO_INTERVAL
    if parts.k >= FEWEST_PARTICIPANTS and square >= 0:
        found = limits_over_participants(
            parts.means, parts.shrunk_variances, confidence, z, known=reference_sd**2
        )
        lower_ci = (float(found.lower_low), float(found.lower_high))
        upper_ci = (float(found.upper_low), float(found.upper_high))
    return CorrectedLimits(
        bias=estimate.bias,
        sd=sd,
        lower=estimate.bias - z * sd,
        lower_ci=lower_ci,
        upper=estimate.bias + z * sd,
        upper_ci=upper_ci,
        sd_observed=estimate.sd,
        reference_sd=float(reference_sd),
        reference_share=float(reference_sd**2 / estimate.sd**2)
        if estimate.sd > 0
        else float("nan"),
        n_participants=parts.k,
        n_observations=values.size,
        confidence=confidence,
        assumptions=(
            "The reference's error is known, unrelated to the test instrument's, and unbiased.",
            (
                "It is taken as the error of the quantity itself; that of a range, which is a "
                "difference of two readings, may be larger than that of a reading."
            ),
            (
                "A negative remainder says that the reference's stated error is larger than all "
                "differences allow."
            ),
        ),
    )


def _several(parts: Components) -> Components:
    """Refuse a single participant."""
    if parts.k < 2:
        raise ValueError("at least 2 participants are needed, got 1.")
    return parts
