"""Limits of agreement as a value: what was found, by which method, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from twinangle.agreement._components import Components
from twinangle.agreement._input import Floats
from twinangle.agreement._participants import moments
from twinangle.agreement._quantiles import half_width
from twinangle.agreement._result import Interval, Result, counted, interval, quantity
from twinangle.agreement._shape import shape_notes
from twinangle.declare import data, number
from twinangle.sketch import sketch_limits

OWN_INTERVAL = "own method on participants' means and variances, coverage simulated"


@dataclass(frozen=True, slots=True, eq=False)
class LimitsOfAgreement(Result):
    """Bias and limits of agreement of test minus reference, with their intervals."""

    bias: Annotated[float, data("mean difference, weighted as `weighting` says")]
    bias_ci: Interval
    sd: Annotated[
        float,
        data(
            "standard deviation of a single difference about the bias, from which the limits follow"
        ),
    ]
    sd_between: Annotated[
        float,
        data("SD between participants; NaN where the data cannot part it from the other"),
    ]
    sd_within: Annotated[
        float,
        data("SD within participants; NaN where the data cannot part it from the other"),
    ]
    lower: Annotated[
        float,
        data(
            "lower limit, bias - z sd: with the upper one it holds the share `coverage` of "
            "differences"
        ),
    ]
    lower_ci: Interval
    upper: Annotated[float, data("upper limit, bias + z sd")]
    upper_ci: Interval
    n_participants: Annotated[int, number("participants")]
    n_observations: Annotated[int, number("differences")]
    method: Annotated[str, number("form of the limits")]
    weighting: Annotated[str, number("weighting of the bias")]
    interval_method: Annotated[str, number("where the intervals come from")]
    coverage: Annotated[float, number("share of differences between the limits")]
    confidence: Annotated[float, number("confidence of the intervals")]
    skewness: Annotated[
        float,
        number(
            "skewness of the participants' means (of the differences when there is one pair "
            "each, or one participant); NaN below 4 values or where all are equal"
        ),
    ]
    notes: Annotated[tuple[str, ...], number("what to know before the numbers are used")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    @property
    def why(self) -> Annotated[str, number("why this form was taken for the data")]:
        """Why this form was taken for the data, in words."""
        if self.n_participants == 1:
            return "there is one participant only"
        if self.n_observations == self.n_participants:
            return "every participant has one pair"
        return (
            "participants have several pairs each, measured at the same instants, and the true "
            "value varies from pair to pair"
        )

    def _sketch(self) -> str:
        return sketch_limits([("bias and limits", self.lower, self.bias, self.upper)], "Limits")

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        kind = "within-participant limits" if self.n_participants == 1 else "limits of agreement"
        ci = [
            interval(bounds, unit, self.confidence)
            for bounds in (self.bias_ci, self.lower_ci, self.upper_ci)
        ]
        return (
            f"Bias {quantity(self.bias, unit)} ({ci[0]}), {100 * self.coverage:g} % {kind} "
            f"{quantity(self.lower, unit)} ({ci[1]}) to {quantity(self.upper, unit)} ({ci[2]}); "
            f"{counted(self.n_observations, 'difference')} of "
            f"{counted(self.n_participants, 'participant')}."
        )


def limits_result(
    bias: float,
    sd: float,
    bias_ci: Interval,
    lower_ci: Interval,
    upper_ci: Interval,
    parts: tuple[float, float],
    counts: tuple[int, int],
    *,
    method: str,
    weighting: str,
    interval_method: str,
    levels: tuple[float, float],
    shape: tuple[Floats, Components],
    notes: tuple[str, ...],
    assumptions: tuple[str, ...],
) -> LimitsOfAgreement:
    """Put the result together and add the checks of shape."""
    z = half_width(levels[0])
    values = shape[0] if counts[0] == 1 else shape[1].means
    varied = values.size >= 4 and np.ptp(values) > 0
    remarks = shape_notes(*shape, levels[1])
    if sd == 0:
        remarks = ("All differences are equal: there is no spread, and no error is estimated.",)
    return LimitsOfAgreement(
        bias=bias,
        bias_ci=bias_ci,
        sd=sd,
        sd_between=parts[0],
        sd_within=parts[1],
        lower=bias - z * sd,
        lower_ci=lower_ci,
        upper=bias + z * sd,
        upper_ci=upper_ci,
        n_participants=counts[0],
        n_observations=counts[1],
        method=method,
        weighting=weighting,
        interval_method=interval_method,
        coverage=levels[0],
        confidence=levels[1],
        skewness=float(moments(values)[1]) if varied else float("nan"),
        notes=(*notes, *remarks),
        assumptions=assumptions,
    )
