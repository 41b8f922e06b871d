"""Tables of the study as a whole: curves, conditions, procedures compared, reliability."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from twinangle.agreement.conditions import ConditionDifference
from twinangle.agreement.conditions_adjusted import AdjustedRatio
from twinangle.agreement.pooled_curves import PooledCurves
from twinangle.agreement.pooled_variability import PooledVariability
from twinangle.declare import UNDER_TEST, data, measured, number, squared
from twinangle.results.model import StudyResults
from twinangle.results.pooled import Absent, absences, given
from twinangle.results.serialise import topic_fields
from twinangle.results.tables.columns import NAN, NO_INTERVAL, Interval, Table, row_kind, row_of
from twinangle.results.tables.identity import (
    OfComparison,
    OfCondition,
    OfQuantity,
    names_of,
    values_of,
)
from twinangle.results.tables.limits import (
    LIMITS_TABLES,
    Bias,
    Confidence,
    Lower,
    Participants,
    Upper,
)


@dataclass(frozen=True, slots=True)
class BudgetPart(OfCondition):
    """One part of the mean squared difference, as a mean over participants."""

    part: Annotated[str, number("total, or the part of it")]
    value: Annotated[float, squared("mean over participants")]
    value_ci: Interval
    n_participants: Participants
    confidence: Confidence


def _budget_rows(results: StudyResults) -> Iterator[BudgetPart]:
    for pooled, budget in given(results.budget):
        names = names_of(pooled)
        names_of_all = list(budget.to_frame())
        for part in (name for name in names_of_all if f"{name}_ci_low" in names_of_all):
            value, ci = getattr(budget, part), getattr(budget, f"{part}_ci")
            yield row_of(BudgetPart, names, budget, part=part, value=value, value_ci=ci)


PooledCurvesRow = row_kind(
    "PooledCurvesRow",
    OfCondition,
    PooledCurves,
    "offset offset_ci offset_sd rms_demeaned rms_demeaned_ci mad_demeaned mad_demeaned_ci "
    "range_difference range_difference_ci range_difference_sd correlation correlation_ci "
    "n_participants n_trials confidence",
)


PooledVariabilityRow = row_kind(
    "PooledVariabilityRow",
    OfCondition,
    PooledVariability,
    "test_sd test_sd_ci reference_sd reference_sd_ci ratio ratio_ci difference difference_ci "
    "added_sd added_sd_ci test_serial reference_serial n_participants n_trials confidence",
)


ConditionRow = row_kind(
    "ConditionRow",
    OfComparison,
    ConditionDifference,
    "condition against n_participants difference difference_ci ratio ratio_ci interval_over "
    "fewest_window most_window windows_difference windows_difference_ci windows_ratio "
    "windows_ratio_ci serial serial_against confidence note",
)


AdjustedRow = row_kind(
    "AdjustedRow",
    OfComparison,
    AdjustedRatio,
    "condition against covariates ratio ratio_ci shared n_participants n_trials confidence",
)


@dataclass(frozen=True, slots=True)
class StandingRow:
    """One procedure's place among the procedures on the same trials."""

    condition: Annotated[str, number("condition, as the trials table names it")]
    procedure: Annotated[str, number("procedure that yields the wearable's angle"), UNDER_TEST]
    rank: Annotated[int, number("place, 1 is best; procedures that cannot be told apart share it")]
    mean: Annotated[float, data("mean over participants of the RMS of demeaned curves")]
    tied_with: Annotated[str, number("procedures that share the rank, with commas")]


def _standing_rows(results: StudyResults) -> Iterator[StandingRow]:
    for pooled, contest in given(results.ranking):
        for place in contest.standings:
            tied = ", ".join(place.tied_with)
            yield row_of(StandingRow, place, condition=pooled.condition, tied_with=tied)


@dataclass(frozen=True, slots=True)
class PairRow:
    """Two procedures compared on the same trials."""

    condition: Annotated[str, number("condition, as the trials table names it")]
    first: Annotated[str, number("first procedure")]
    second: Annotated[str, number("second procedure")]
    difference: Annotated[float, data("mean over participants, first minus second")]
    difference_ci: Interval
    p_value: Annotated[float, number("of the two-sided paired t test, not adjusted")]
    n_participants: Participants
    tied: Annotated[bool, number("whether the two cannot be told apart")]


def _pair_rows(results: StudyResults) -> Iterator[PairRow]:
    for pooled, contest in given(results.ranking):
        for pair in contest.differences:
            ends = (pair.lower, pair.upper)
            yield row_of(PairRow, pair, condition=pooled.condition, difference_ci=ends)


@dataclass(frozen=True, slots=True)
class AlongCycle(OfCondition):
    """Bias and limits at one point of the cycle."""

    percent: Annotated[float, measured("percent", "point of the cycle")]
    bias: Bias
    bias_band: Annotated[Interval, data("simultaneous band of the bias over the cycle")]
    participant_band: Annotated[Interval, data("simultaneous band of a new participant's mean")]
    lower: Lower
    upper: Upper
    p_adjusted: Annotated[float, number("that the bias is 0 here, adjusted over the cycle")]


def _along_rows(results: StudyResults) -> Iterator[AlongCycle]:
    for pooled, both in given(results.along_cycle):
        limits, difference = both.limits, both.difference
        bands = limits.bias_band, limits.participant_band
        percent = np.linspace(0.0, 100.0, limits.bias.size)
        for k, at in enumerate(percent):
            bias, person = ((float(band.lower[k]), float(band.upper[k])) for band in bands)
            yield AlongCycle(
                pooled.procedure, pooled.condition, float(at), float(limits.bias[k]), bias, person,
                float(limits.lower[k]), float(limits.upper[k]), float(difference.p_adjusted[k]),
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class ReliabilityRow:
    """One statistic of how alike participants' values are over the columns of a design."""

    design: Annotated[str, number("both instruments, sessions or trials of one session")]
    instrument: Annotated[str, number("whose values: both, wearable or reference")]
    statistic: Annotated[str, number("form of the intraclass correlation, sem, mdc, concordance")]
    procedure: Annotated[str, number("procedure that yields the wearable's angle"), UNDER_TEST]
    condition: Annotated[str, number("condition, as the trials table names it")]
    quantity: Annotated[str, number("what is compared")]
    columns: Annotated[str, number("the columns of the design, with commas")]
    full_name: Annotated[str, number("the statistic's full name")]
    value: Annotated[float, number("the statistic")]
    ci: Interval
    unit: Annotated[str, number("unit of value, low and high; empty where there is none")]
    precision: Annotated[float, number("correlation behind the concordance")]
    accuracy: Annotated[float, number("share of the concordance that is bias and scale")]
    n_participants: Participants
    n_measurements: Annotated[int, number("measurements a participant")]
    confidence: Confidence


_ERRORS = {
    "sem": "standard error of measurement, consistency",
    "sem_agreement": "standard error of measurement, agreement",
    "mdc": "minimal detectable change, consistency",
    "mdc_agreement": "minimal detectable change, agreement",
    "shift": "mean shift from the first column to the last",
}


def _reliability_rows(results: StudyResults) -> Iterator[ReliabilityRow]:
    nothing = {"precision": NAN, "accuracy": NAN, "unit": "", "full_name": ""}
    for pooled, item in given(results.reliability):
        own: dict[str, Any] = (
            nothing
            | names_of(pooled)
            | {
                "columns": ", ".join(item.columns),
                "n_measurements": len(item.columns),
            }
        )
        for one in item.intraclass:
            yield row_of(ReliabilityRow, one, own, item, statistic=one.form, ci=one.value_ci)
        for name, meaning in _ERRORS.items() if not isinstance(item.error, Absent) else ():
            row = {"value": getattr(item.error, name), "unit": "deg", "full_name": meaning}
            ci = getattr(item.error, f"{name}_ci", NO_INTERVAL)
            yield row_of(ReliabilityRow, row, item.error, own, item, statistic=name, ci=ci)
        if item.concordance is not None:
            lin, name = item.concordance, "Lin's concordance"
            yield row_of(ReliabilityRow, lin, own, item, statistic=name, ci=lin.value_ci)


@dataclass(frozen=True, slots=True)
class NotGiven:
    """One part that the data do not support."""

    topic: Annotated[str, number("topic, as in results.json")]
    procedure: Annotated[str, number("procedure that yields the wearable's angle"), UNDER_TEST]
    condition: Annotated[str, number("condition, as the trials table names it")]
    quantity: Annotated[str, number("what is compared")]
    part: Annotated[str, number("part of the topic, where it has several")]
    reason: Annotated[str, number("why it is not given")]


def _not_given_rows(results: StudyResults) -> Iterator[NotGiven]:
    for item in topic_fields(StudyResults):
        for pooled, absent in absences(getattr(results, item.name)):
            yield row_of(NotGiven, absent, names_of(pooled), topic=item.name)


@dataclass(frozen=True, slots=True)
class WithoutEachRow(OfQuantity):
    """The limits of agreement without one participant."""

    left_out: Annotated[str, number("who is left out")]
    n_observations: Annotated[int, number("differences of the others")]
    bias: Annotated[float, data("bias of the others")]
    lower: Annotated[float, data("lower limit of agreement of the others")]
    upper: Annotated[float, data("upper limit of agreement of the others")]
    bias_change: Annotated[float, data("bias of the others minus that of all")]
    lower_change: Annotated[float, data("lower limit of the others minus that of all")]
    upper_change: Annotated[float, data("upper limit of the others minus that of all")]


def _without_each_rows(results: StudyResults) -> Iterator[WithoutEachRow]:
    for pooled, found in given(results.sensitivity):
        for one in found.without:
            yield row_of(WithoutEachRow, one, names_of(pooled), left_out=one.participant)


POOLED_TABLES = (
    *LIMITS_TABLES,
    Table("error_budgets", "parts of the mean squared difference", BudgetPart, _budget_rows),
    Table(
        "curves_over_participants",
        "agreement of curves",
        PooledCurvesRow,
        values_of("curves", PooledCurvesRow),
    ),
    Table(
        "variability_over_participants",
        "variability over cycles, both instruments",
        PooledVariabilityRow,
        values_of("variability", PooledVariabilityRow),
    ),
    Table("conditions", "conditions compared", ConditionRow, values_of("conditions", ConditionRow)),
    Table(
        "conditions_adjusted",
        "conditions at equal covariates",
        AdjustedRow,
        values_of("conditions_adjusted", AdjustedRow),
    ),
    Table("contest", "procedures ranked on the same trials", StandingRow, _standing_rows),
    Table("contest_differences", "procedures compared in pairs", PairRow, _pair_rows),
    Table("along_cycle", "bias and limits along the cycle", AlongCycle, _along_rows),
    Table(
        "limits_without_each",
        "limits of agreement without each participant in turn",
        WithoutEachRow,
        _without_each_rows,
    ),
    Table("reliability", "reliability, a statistic a row", ReliabilityRow, _reliability_rows),
    Table("not_given", "what the data do not support, and why", NotGiven, _not_given_rows),
)
