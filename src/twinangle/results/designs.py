"""Results that hold several statistics of one quantity: forms of limits, reliability, cycle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from twinangle.agreement.along_cycle import CurveDifference, FunctionalLimits
from twinangle.agreement.deming import DemingLine
from twinangle.agreement.difference_checks import DifferenceChecks
from twinangle.agreement.forms import LimitsAtSize, RatioLimits, RegressionLimits
from twinangle.agreement.lin_concordance import Concordance
from twinangle.agreement.mixed import MixedModelLimits
from twinangle.agreement.percentiles import PercentileLimits
from twinangle.agreement.reliability import IntraclassCorrelation
from twinangle.agreement.retest import MeasurementError
from twinangle.agreement.variability import CycleVariability, VariabilityComparison
from twinangle.card import Shown
from twinangle.declare import Spread, data, number
from twinangle.results.pooled import Absent


@dataclass(frozen=True, slots=True, eq=False)
class LimitForms(Shown):
    """Limits of one quantity in further forms, beside the main one, and what the checks showed.

    A form that the data do not support is absent. `regression` and `deming` are over participants'
    means; the others over cycles, participants counting the same. `at_sizes` are limits by
    regression at the smallest, middle and largest mean of a participant.
    """

    checks: Annotated[DifferenceChecks, number("what speaks for one form or another")]
    regression: Annotated[RegressionLimits | Absent, number("limits as lines on the size")]
    ratio: Annotated[RatioLimits | Absent, number("limits of the ratio")]
    percentile: Annotated[PercentileLimits | Absent, number("limits by percentiles")]
    mixed: Annotated[MixedModelLimits | Absent, number("limits by a mixed model")]
    deming: Annotated[DemingLine | Absent, number("Deming's line")]
    at_sizes: Annotated[tuple[LimitsAtSize, ...], number("limits at three sizes")] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Reliability(Shown):
    """How alike participants' values are over the columns of a design.

    Values are means over the kept cycles. `error` is of one instrument measured again; between two
    it is absent, for it would be the SD of their differences under another name.
    """

    design: Annotated[str, number("'both instruments', 'sessions' or 'trials of one session'")]
    instrument: Annotated[str, number("whose values: 'both', 'wearable' or 'reference'")]
    columns: Annotated[tuple[str, ...], number("what is compared")]
    intraclass: Annotated[
        tuple[IntraclassCorrelation, ...], number("intraclass correlations in six forms")
    ]
    error: Annotated[MeasurementError | Absent, number("measurement error of one instrument")]
    concordance: Annotated[Concordance | None, number("Lin's concordance; of two columns only")]
    people: Annotated[tuple[str, ...], number("whose each row of the scores is")] = ()
    scores: Annotated[
        tuple[tuple[float, ...], ...],
        data("what is compared: a row a participant, a column each of `columns`"),
    ] = ()
    left_out: Annotated[
        tuple[str, ...], number("participants and columns that lack a value, so that they are out")
    ] = ()

    def form(self, name: str) -> IntraclassCorrelation:
        """Return the intraclass correlation of that form, such as "ICC(2,1)"."""
        return next(one for one in self.intraclass if one.form == name)


@dataclass(frozen=True, slots=True, eq=False)
class AlongCycle(Shown):
    """Limits at every point of the cycle, and where along it the instruments differ."""

    limits: Annotated[FunctionalLimits, number("limits at every point")]
    difference: Annotated[CurveDifference, number("where the instruments differ")]


@dataclass(frozen=True, slots=True)
class MultipleCorrelations(Shown):
    """Coefficients of multiple correlation; NaN where one does not exist, or has no reference."""

    wearable_between_cycles: Annotated[float, number("the wearable's cycles among each other")]
    reference_between_cycles: Annotated[float, number("the reference's cycles among each other")]
    instruments_within_cycles: Annotated[float, number("both instruments within each cycle")]
    wearable_between_cycles_squared: Annotated[float, number("square, negative where undefined")]
    reference_between_cycles_squared: Annotated[float, number("square, negative where undefined")]
    instruments_within_cycles_squared: Annotated[float, number("square, negative where undefined")]


@dataclass(frozen=True, slots=True, eq=False)
class Variability(Shown):
    """Variability between the cycles of one trial, and how the instruments' compare."""

    wearable: Annotated[CycleVariability, Spread("wearable_")]
    reference: Annotated[CycleVariability | None, Spread("reference_")] = None
    comparison: Annotated[
        VariabilityComparison | None, number("both compared; null without a reference")
    ] = None
