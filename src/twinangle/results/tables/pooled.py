"""Tables of the study as a whole: limits, conditions, procedures compared, reliability."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from twinangle.declare import data, measured, number, squared
from twinangle.results.designs import LimitForms
from twinangle.results.model import StudyResults
from twinangle.results.pooled import Absent, Pooled, absences, given
from twinangle.results.serialise import topic_fields
from twinangle.results.tables.columns import Interval, Table, row_of
from twinangle.results.tables.identity import OfCondition, OfQuantity

NAN = math.nan
NO_INTERVAL: Interval = (NAN, NAN)

Participants = Annotated[int, number("participants behind the numbers")]
Trials = Annotated[int, number("trials behind the numbers")]
Confidence = Annotated[float, number("confidence of the intervals")]


@dataclass(frozen=True, slots=True)
class LimitsRow(OfQuantity):
    """Limits of agreement as recorded."""

    n_participants: Participants
    n_observations: Annotated[int, number("differences, one a cycle")]
    bias: Annotated[float, data("mean difference, wearable minus reference")]
    bias_ci: Annotated[Interval, data("the bias's interval")]
    sd_between: Annotated[float, data("SD between participants")]
    sd_within: Annotated[float, data("SD within participants")]
    sd: Annotated[float, data("SD of a single difference")]
    lower: Annotated[float, data("lower limit of agreement")]
    lower_ci: Annotated[Interval, data("the lower limit's interval")]
    upper: Annotated[float, data("upper limit of agreement")]
    upper_ci: Annotated[Interval, data("the upper limit's interval")]
    bias_from_zero_deg: Annotated[float, data("part of the bias that is the instruments' zeros")]
    bias_rms: Annotated[float, data("RMS over participants of their own bias")]
    bias_rms_zeroed: Annotated[float, data("the same, both instruments zeroed at standing")]
    method: Annotated[str, number("form of the limits")]
    why: Annotated[str, number("why this form was taken")]
    weighting: Annotated[str, number("weighting of the bias")]
    interval_method: Annotated[str, number("where the intervals come from")]
    confidence: Annotated[float, number("confidence of the intervals")]
    note: Annotated[str, number("what the numbers rest on")]


def _limits_rows(results: StudyResults) -> Iterator[LimitsRow]:
    for pooled, found in given(results.limits):
        yield row_of(
            LimitsRow,
            found.limits,
            found,
            _names(pooled),
            n_participants=len(set(found.participant)),
            n_observations=found.difference.size,
            bias_from_zero_deg=found.bias_from_zero,
            bias_rms=found.participants_bias_rms,
            bias_rms_zeroed=found.participants_bias_rms_zeroed,
        )


@dataclass(frozen=True, slots=True)
class OtherLimits(OfQuantity):
    """The limits of agreement under one other treatment of the same differences."""

    form: Annotated[
        str,
        number("zeroed at standing, published interval, or without the reference's own error"),
    ]
    bias: Annotated[float, data("mean difference, wearable minus reference")]
    bias_ci: Annotated[Interval, data("the bias's interval")]
    sd: Annotated[float, data("SD of a single difference")]
    lower: Annotated[float, data("lower limit of agreement")]
    lower_ci: Annotated[Interval, data("the lower limit's interval")]
    upper: Annotated[float, data("upper limit of agreement")]
    upper_ci: Annotated[Interval, data("the upper limit's interval")]
    interval_method: Annotated[str, number("where the intervals come from")]
    sd_observed: Annotated[float, data("SD of the differences as observed")]
    reference_sd: Annotated[float, data("SD of the reference's own error, as the study states it")]
    reference_share: Annotated[float, number("share of the variance that is the reference's")]
    n_participants: Annotated[int | None, number("participants behind the numbers")]
    n_observations: Annotated[int | None, number("differences, one a cycle")]
    confidence: Annotated[float, number("confidence of the intervals")]
    note: Annotated[str, number("why it is not given")]


def _other_limits_rows(results: StudyResults) -> Iterator[OtherLimits]:
    numbers = ("bias", "sd", "lower", "upper", "sd_observed", "reference_sd", "reference_share")
    nothing: dict[str, Any] = dict.fromkeys((*numbers, "confidence"), NAN) | dict.fromkeys(
        ("bias_ci", "lower_ci", "upper_ci"), NO_INTERVAL
    )
    nothing |= {"interval_method": "", "n_participants": None, "n_observations": None}
    for pooled, found in given(results.limits):
        for form, limits in (
            ("zeroed at standing", found.zeroed),
            ("published interval", found.published),
            ("without the reference's own error", found.corrected),
        ):
            names = _names(pooled) | {"form": form, "note": ""}
            if isinstance(limits, Absent):
                yield row_of(OtherLimits, names | {"note": limits.reason}, nothing)
            elif limits is not None:
                yield row_of(OtherLimits, limits, names, nothing)


@dataclass(frozen=True, slots=True)
class LimitsPoint(OfQuantity):
    """One point of a Bland-Altman plot: one cycle."""

    participant: Annotated[str, number("code of the person recorded")]
    size: Annotated[float, data("mean of the two instruments")]
    difference: Annotated[float, data("wearable minus reference")]
    zero: Annotated[float, data("the same difference in neutral standing; empty if not known")]


def _point_rows(results: StudyResults) -> Iterator[LimitsPoint]:
    for pooled, found in given(results.limits):
        names = (pooled.procedure, pooled.condition, pooled.quantity)
        points = zip(found.participant, found.size, found.difference, found.zero, strict=True)
        for code, *numbers in points:
            yield LimitsPoint(*names, code, *map(float, numbers))


@dataclass(frozen=True, slots=True)
class FormNumber(OfQuantity):
    """One number, or word, of the limits in another form or of the checks behind them."""

    form: Annotated[
        str,
        number(
            "checks, regression, ratio, percentile, mixed, deming, at size 1 to 3, or not given"
        ),
    ]
    statistic: Annotated[str, number("name of the number; of the form that is not given")]
    value: Annotated[float, number("the number, in the unit of the row")]
    ci: Annotated[Interval, number("its interval")]
    unit: Annotated[str, number("unit of value, low and high; empty where there is none")]
    text: Annotated[str, number("what is said where it is no number")]


# Numbers of the forms that have no unit; those of the ratio have none at all, the rest are angles.
_UNITLESS = frozenset(
    (
        *("trend", "spread_trend", "slope", "spread_slope", "ratio", "error_ratio"),
        *("skewness", "excess_kurtosis", "normality_p", "serial_correlation"),
        *("n_participants", "n_observations", "n_nested", "n_effective", "coverage", "confidence"),
    )
)
_SQUARED = frozenset(("variance_between", "variance_nested", "variance_within"))


def _form_rows(results: StudyResults) -> Iterator[FormNumber]:
    for pooled, found in given(results.forms):
        names = _names(pooled)
        absent = []
        for form, part in _parts(found):
            if isinstance(part, Absent):
                absent.append((form, part.reason))
                continue
            for statistic, value, ci, text in _statistics(part):
                unit = "" if form == "ratio" or text else _unit_of(statistic)
                row = {"value": value, "ci": ci, "unit": unit, "text": text}
                yield row_of(FormNumber, row, names, form=form, statistic=statistic)
        for form, reason in absent:
            nothing = {"value": NAN, "ci": NO_INTERVAL, "unit": "", "text": reason}
            yield row_of(FormNumber, nothing, names, form="not given", statistic=form)


def _parts(found: LimitForms) -> list[tuple[str, Any]]:
    """Return the checks and forms by name, those that are absent among them."""
    names = ("checks", "regression", "ratio", "percentile", "mixed", "deming")
    parts = [(name, getattr(found, name)) for name in names]
    return [*parts, *((f"at size {k}", one) for k, one in enumerate(found.at_sizes, start=1))]


def _unit_of(statistic: str) -> str:
    if statistic in _UNITLESS:
        return ""
    return "deg2" if statistic in _SQUARED else "deg"


def _statistics(part: Any) -> Iterator[tuple[str, float, Interval, str]]:
    """Yield the numbers and words of a result with their intervals; curves and notes are left."""
    row = part.to_frame().iloc[0].to_dict()
    for name, value in row.items():
        if name.endswith(("_ci_low", "_ci_high")):
            continue
        ci = (row.get(f"{name}_ci_low", NAN), row.get(f"{name}_ci_high", NAN))
        if isinstance(value, str | bool | np.bool_):
            yield name, NAN, NO_INTERVAL, str(value)
        else:
            yield name, float(value), ci, ""


@dataclass(frozen=True, slots=True)
class EquivalenceRow(OfQuantity):
    """The limits against the margin stated beforehand."""

    margin: Annotated[float, data("largest acceptable difference, stated beforehand")]
    verdict: Annotated[str, number("inside, outside or undecided")]
    reason: Annotated[str, number("what the verdict rests on")]
    inside_from: Annotated[float, data("smallest margin for which the verdict is inside")]
    lower_ci: Annotated[Interval, data("the lower limit's interval")]
    upper_ci: Annotated[Interval, data("the upper limit's interval")]
    n_participants: Participants
    n_observations: Annotated[int, number("differences, one a cycle")]
    confidence: Confidence


def _equivalence_rows(results: StudyResults) -> Iterator[EquivalenceRow]:
    for pooled, claim in given(results.equivalence):
        yield row_of(EquivalenceRow, _names(pooled), claim)


@dataclass(frozen=True, slots=True)
class BudgetPart(OfCondition):
    """One part of the mean squared difference, as a mean over participants."""

    part: Annotated[str, number("total, or the part of it")]
    value: Annotated[float, squared("mean over participants")]
    value_ci: Annotated[Interval, squared("that mean's interval")]
    n_participants: Participants
    confidence: Confidence


def _budget_rows(results: StudyResults) -> Iterator[BudgetPart]:
    for pooled, budget in given(results.budget):
        names = _names(pooled)
        names_of_all = list(budget.to_frame())
        for part in (name for name in names_of_all if f"{name}_ci_low" in names_of_all):
            value, ci = getattr(budget, part), getattr(budget, f"{part}_ci")
            yield row_of(BudgetPart, names, budget, part=part, value=value, value_ci=ci)


@dataclass(frozen=True, slots=True)
class PooledCurvesRow(OfCondition):
    """Agreement of the mean curves as means over participants."""

    offset: Annotated[float, data("mean over participants of the offset")]
    offset_ci: Annotated[Interval, data("that mean's interval")]
    offset_sd: Annotated[float, data("SD over participants of the offset")]
    rms_demeaned: Annotated[float, data("mean over participants of the RMS of demeaned curves")]
    rms_demeaned_ci: Annotated[Interval, data("that mean's interval")]
    mad_demeaned: Annotated[
        float, data("mean over participants of the demeaned curves' median absolute difference")
    ]
    mad_demeaned_ci: Annotated[Interval, data("that mean's interval")]
    range_difference: Annotated[float, data("mean over participants of the ranges' difference")]
    range_difference_ci: Annotated[Interval, data("that mean's interval")]
    range_difference_sd: Annotated[float, data("SD over participants of the ranges' difference")]
    correlation: Annotated[float, number("mean over participants of the correlation")]
    correlation_ci: Annotated[Interval, number("that mean's interval")]
    n_participants: Participants
    n_trials: Trials
    confidence: Confidence


def _curve_rows(results: StudyResults) -> Iterator[PooledCurvesRow]:
    for pooled, value in given(results.curves):
        yield row_of(PooledCurvesRow, _names(pooled), value)


@dataclass(frozen=True, slots=True)
class PooledVariabilityRow(OfCondition):
    """Variability over cycles as means over participants."""

    test_sd: Annotated[float, data("mean over participants of the wearable's SD over cycles")]
    test_sd_ci: Annotated[Interval, data("that mean's interval")]
    reference_sd: Annotated[float, data("mean over participants of the reference's SD")]
    reference_sd_ci: Annotated[Interval, data("that mean's interval")]
    ratio: Annotated[float, number("the wearable's SD over the reference's")]
    ratio_ci: Annotated[Interval, number("the ratio's interval")]
    difference: Annotated[float, data("the wearable's SD minus the reference's")]
    difference_ci: Annotated[Interval, data("the difference's interval")]
    added_sd: Annotated[float, data("SD that the wearable adds")]
    added_sd_ci: Annotated[Interval, data("the added SD's interval")]
    test_serial: Annotated[float, number("serial correlation of the wearable's cycles")]
    reference_serial: Annotated[float, number("serial correlation of the reference's cycles")]
    n_participants: Participants
    n_trials: Trials
    confidence: Confidence


def _variability_rows(results: StudyResults) -> Iterator[PooledVariabilityRow]:
    for pooled, value in given(results.variability):
        yield row_of(PooledVariabilityRow, _names(pooled), value)


@dataclass(frozen=True, slots=True)
class ConditionRow:
    """One condition against another, within participants."""

    procedure: Annotated[str, number("procedure that yields the wearable's angle")]
    quantity: Annotated[str, number("what is compared")]
    condition: Annotated[str, number("condition, as the trials table names it")]
    against: Annotated[str, number("condition that it is compared with")]
    n_participants: Participants
    difference: Annotated[float, data("condition minus the other")]
    difference_ci: Annotated[Interval, data("the difference's interval")]
    ratio: Annotated[float, number("condition over the other")]
    ratio_ci: Annotated[Interval, number("the ratio's interval")]
    interval_over: Annotated[str, number("what was sampled: the intervals are over it")]
    fewest_window: Annotated[int, number("fewest cycles of a window of equal length")]
    most_window: Annotated[int, number("most cycles of a window of equal length")]
    windows_difference: Annotated[float, data("difference over windows of equally many cycles")]
    windows_difference_ci: Annotated[Interval, data("that difference's interval")]
    windows_ratio: Annotated[float, number("ratio over windows of equally many cycles")]
    windows_ratio_ci: Annotated[Interval, number("that ratio's interval")]
    serial: Annotated[float, number("serial correlation of the cycles in the condition")]
    serial_against: Annotated[float, number("serial correlation of the cycles in the other")]
    confidence: Confidence
    note: Annotated[str, number("what to know before the numbers are used")]


def _condition_rows(results: StudyResults) -> Iterator[ConditionRow]:
    for pooled, item in given(results.conditions):
        yield row_of(ConditionRow, item, _names(pooled))


@dataclass(frozen=True, slots=True)
class AdjustedRow:
    """A ratio of two conditions at equal covariates."""

    procedure: Annotated[str, number("procedure that yields the wearable's angle")]
    quantity: Annotated[str, number("what is compared")]
    condition: Annotated[str, number("condition, as the trials table names it")]
    against: Annotated[str, number("condition that it is compared with")]
    covariates: Annotated[str, number("what is held equal")]
    ratio: Annotated[float, number("condition over the other at equal covariates")]
    ratio_ci: Annotated[Interval, number("the ratio's interval")]
    shared: Annotated[float, number("share of the condition that the covariates explain")]
    n_participants: Participants
    n_trials: Trials
    confidence: Confidence


def _adjusted_rows(results: StudyResults) -> Iterator[AdjustedRow]:
    for pooled, item in given(results.conditions_adjusted):
        yield row_of(AdjustedRow, item, _names(pooled))


@dataclass(frozen=True, slots=True)
class StandingRow:
    """One procedure's place among the procedures on the same trials."""

    condition: Annotated[str, number("condition, as the trials table names it")]
    procedure: Annotated[str, number("procedure that yields the wearable's angle")]
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
    difference_ci: Annotated[Interval, data("its interval, all pairs of a condition together")]
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
    bias: Annotated[float, data("mean difference, wearable minus reference")]
    bias_band: Annotated[Interval, data("simultaneous band of the bias over the cycle")]
    participant_band: Annotated[Interval, data("simultaneous band of a new participant's mean")]
    lower: Annotated[float, data("lower limit of agreement")]
    upper: Annotated[float, data("upper limit of agreement")]
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
    procedure: Annotated[str, number("procedure that yields the wearable's angle")]
    condition: Annotated[str, number("condition, as the trials table names it")]
    quantity: Annotated[str, number("what is compared")]
    columns: Annotated[str, number("the columns of the design, with commas")]
    full_name: Annotated[str, number("the statistic's full name")]
    value: Annotated[float, number("the statistic")]
    ci: Annotated[Interval, number("its interval")]
    unit: Annotated[str, number("unit of value, low and high; empty where there is none")]
    precision: Annotated[float, number("correlation behind the concordance")]
    accuracy: Annotated[float, number("share of the concordance that is bias and scale")]
    n_participants: Participants
    n_measurements: Annotated[int, number("measurements a participant")]
    confidence: Confidence


_ERRORS = {
    "sem": "standard error of measurement, consistency",
    "sem_agreement": "standard error of measurement, agreement",
    "mdc": "minimal detectable change",
}


def _reliability_rows(results: StudyResults) -> Iterator[ReliabilityRow]:
    nothing = {"precision": NAN, "accuracy": NAN, "unit": "", "full_name": ""}
    for pooled, item in given(results.reliability):
        own: dict[str, Any] = (
            nothing
            | _names(pooled)
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
    procedure: Annotated[str, number("procedure that yields the wearable's angle")]
    condition: Annotated[str, number("condition, as the trials table names it")]
    quantity: Annotated[str, number("what is compared")]
    part: Annotated[str, number("part of the topic, where it has several")]
    reason: Annotated[str, number("why it is not given")]


def _not_given_rows(results: StudyResults) -> Iterator[NotGiven]:
    for item in topic_fields(StudyResults):
        for pooled, absent in absences(getattr(results, item.name)):
            yield row_of(NotGiven, absent, _names(pooled), topic=item.name)


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
            yield row_of(WithoutEachRow, one, _names(pooled), left_out=one.participant)


def _names(pooled: Pooled[Any]) -> dict[str, Any]:
    """Return what names a value: procedure, condition and quantity."""
    return {name: getattr(pooled, name) for name in ("procedure", "condition", "quantity")}


POOLED_TABLES = (
    Table("limits_of_agreement", "limits of agreement as recorded", LimitsRow, _limits_rows),
    Table(
        "limits_otherwise_treated",
        "the limits with both instruments zeroed at standing, with a published interval, and "
        "without the reference's own error, as far as the study gives what is needed",
        OtherLimits,
        _other_limits_rows,
    ),
    Table("limits_points", "the points of the Bland-Altman plots", LimitsPoint, _point_rows),
    Table("limits_in_other_forms", "limits in other forms, a number a row", FormNumber, _form_rows),
    Table("equivalence", "the limits against the margin", EquivalenceRow, _equivalence_rows),
    Table("error_budgets", "parts of the mean squared difference", BudgetPart, _budget_rows),
    Table("curves_over_participants", "agreement of curves", PooledCurvesRow, _curve_rows),
    Table(
        "variability_over_participants",
        "variability over cycles, both instruments",
        PooledVariabilityRow,
        _variability_rows,
    ),
    Table("conditions", "conditions compared", ConditionRow, _condition_rows),
    Table("conditions_adjusted", "conditions at equal covariates", AdjustedRow, _adjusted_rows),
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
