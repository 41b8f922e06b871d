"""Tables of the limits of agreement, in every form, and of the points they rest on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from twinangle.agreement.equivalence import Equivalence
from twinangle.declare import data, number
from twinangle.results.designs import LimitForms
from twinangle.results.model import StudyResults
from twinangle.results.pooled import Absent, given
from twinangle.results.tables.columns import NAN, NO_INTERVAL, Interval, Table, row_kind, row_of
from twinangle.results.tables.identity import OfQuantity, names_of, values_of

Participants = Annotated[int, number("participants behind the numbers")]
Confidence = Annotated[float, number("confidence of the intervals")]
Observations = Annotated[int, number("differences, one a cycle")]
Bias = Annotated[float, data("mean difference, wearable minus reference")]
SD = Annotated[float, data("SD of a single difference")]
Lower = Annotated[float, data("lower limit of agreement")]
Upper = Annotated[float, data("upper limit of agreement")]
Origin = Annotated[str, number("where the intervals come from")]


@dataclass(frozen=True, slots=True)
class LimitsRow(OfQuantity):
    """Limits of agreement as recorded."""

    n_participants: Participants
    n_observations: Observations
    bias: Bias
    bias_ci: Interval
    sd_between: Annotated[float, data("SD between participants")]
    sd_within: Annotated[float, data("SD within participants")]
    sd: SD
    lower: Lower
    lower_ci: Interval
    upper: Upper
    upper_ci: Interval
    bias_from_zero_deg: Annotated[float, data("part of the bias that is the instruments' zeros")]
    bias_rms: Annotated[float, data("RMS over participants of their own bias")]
    bias_rms_zeroed: Annotated[float, data("the same, both instruments zeroed at standing")]
    method: Annotated[str, number("form of the limits")]
    why: Annotated[str, number("why this form was taken")]
    weighting: Annotated[str, number("weighting of the bias")]
    interval_method: Origin
    confidence: Confidence
    note: Annotated[str, number("what the numbers rest on")]


def _limits_rows(results: StudyResults) -> Iterator[LimitsRow]:
    for pooled, found in given(results.limits):
        yield row_of(
            LimitsRow,
            found.limits,
            found,
            names_of(pooled),
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
    bias: Bias
    bias_ci: Interval
    sd: SD
    lower: Lower
    lower_ci: Interval
    upper: Upper
    upper_ci: Interval
    interval_method: Origin
    sd_observed: Annotated[float, data("SD of the differences as observed")]
    reference_sd: Annotated[float, data("SD of the reference's own error, as the study states it")]
    reference_share: Annotated[float, number("share of the variance that is the reference's")]
    n_participants: Annotated[int | None, number("participants behind the numbers")]
    n_observations: Annotated[int | None, number("differences, one a cycle")]
    confidence: Confidence
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
            names = names_of(pooled) | {"form": form, "note": ""}
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
    ci: Interval
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
        names = names_of(pooled)
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


EquivalenceRow = row_kind(
    "EquivalenceRow",
    OfQuantity,
    Equivalence,
    "margin verdict reason inside_from lower_ci upper_ci n_participants n_observations confidence",
)


LIMITS_TABLES = (
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
    Table(
        "equivalence",
        "the limits against the margin",
        EquivalenceRow,
        values_of("equivalence", EquivalenceRow),
    ),
)
