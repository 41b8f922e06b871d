"""Tables that only a study of several wearables or references has."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.declare import data, measured, number, squared
from twinangle.results.model import StudyResults
from twinangle.results.pooled import Absent
from twinangle.results.tables.columns import Interval, Table, row_kind, row_of
from twinangle.results.tables.identity import OfRecording, OfTrial


@dataclass(frozen=True, slots=True)
class CommonRow(OfTrial):
    """One wearable and procedure on the cycles that every wearable keeps."""

    n_cycles: Annotated[int, number("cycles that count for every wearable")]
    rms_demeaned: Annotated[float, data("RMS of the demeaned mean curves over these cycles")]
    reason: Annotated[str, number("why there is no such number; empty where there is")]


@dataclass(frozen=True, slots=True)
class LeftOutRow(OfTrial):
    """Cycles of one recording that do not count for the comparison, for one reason."""

    reason: Annotated[str, number("why they do not count, and for which instrument")]
    n_cycles: Annotated[int, number("how many they are")]


@dataclass(frozen=True, slots=True)
class PairOfInstrumentsRow(OfRecording):
    """Two wearables, or two references, in one recording: first minus second."""

    kind: Annotated[str, number("'wearables' or 'references'")]
    first: Annotated[str, number("the instrument whose values come first")]
    second: Annotated[str, number("the instrument taken from it")]
    procedure: Annotated[str, number("procedure of both wearables; empty for references")]
    clock: Annotated[str, number("how the second's clock was placed on the first's")]
    lag: Annotated[float, measured("s", "added to the second's clock to land on the first's")]
    drift: Annotated[float, measured("ppm", "drift of the second's clock against the first's")]
    n_cycles: Annotated[int, number("cycles that both keep")]
    offset: Annotated[float, data("first minus second, mean over the mean curves")]
    offset_ci: Interval
    rms_demeaned: Annotated[float, data("RMS of the demeaned mean curves' difference")]
    rms_demeaned_ci: Interval
    range_difference: Annotated[float, data("range of the first's mean curve minus the second's")]
    correlation: Annotated[float, number("Pearson's, between the mean curves")]
    reason: Annotated[str, number("why they are not compared; empty where they are")]


@dataclass(frozen=True, slots=True)
class OfPair:
    """Names two instruments, a condition and a quantity."""

    kind: Annotated[str, number("'wearables' or 'references'")]
    first: Annotated[str, number("the instrument whose values come first")]
    second: Annotated[str, number("the instrument taken from it")]
    procedure: Annotated[str, number("procedure of both wearables; empty for references")]
    condition: Annotated[str, number("condition, as the trials table names it")]
    quantity: Annotated[str, number("what is compared of every cycle")]


BetweenRow = row_kind(
    "BetweenRow",
    OfPair,
    LimitsOfAgreement,
    "n_participants n_observations bias bias_ci sd sd_between sd_within lower lower_ci upper "
    "upper_ci confidence",
)


@dataclass(frozen=True, slots=True)
class ErrorRow:
    """The error of one of three instruments."""

    wearable_name: Annotated[str, number("name of the wearable; empty where there is but one")]
    procedure: Annotated[str, number("procedure that gave the wearable's angle")]
    first: Annotated[str, number("the first reference")]
    second: Annotated[str, number("the second reference")]
    condition: Annotated[str, number("condition, as the trials table names it")]
    quantity: Annotated[str, number("what is compared of every cycle")]
    instrument: Annotated[str, number("whose error it is")]
    variance: Annotated[float, squared("variance of its own error; an estimate may be below 0")]
    variance_ci: Interval
    sd: Annotated[float, data("its square root; empty where the variance is estimated below 0")]
    share: Annotated[
        float,
        number("share of the variance of wearable minus this reference that is the reference's"),
    ]
    share_ci: Interval
    n_participants: Annotated[int, number("participants")]
    n_observations: Annotated[int, number("cycles")]
    confidence: Annotated[float, number("confidence of the intervals")]


def _common_rows(results: StudyResults) -> Iterator[CommonRow]:
    for trial in results.trials:
        if trial.common is not None:
            yield row_of(CommonRow, trial.common, trial)


def _left_out_rows(results: StudyResults) -> Iterator[LeftOutRow]:
    for trial in results.trials:
        for one in trial.common.left_out if trial.common is not None else ():
            yield row_of(LeftOutRow, one, trial)


def _between_rows(results: StudyResults) -> Iterator[Any]:
    for one in results.between:
        if not isinstance(one.value, Absent):
            yield row_of(BetweenRow, one.value, one)


def _error_rows(results: StudyResults) -> Iterator[ErrorRow]:
    nothing: dict[str, Any] = {"share": float("nan"), "share_ci": (float("nan"), float("nan"))}
    for one in results.errors_of_three:
        if isinstance(one.value, Absent):
            continue
        found = one.value
        shares: list[dict[str, Any]] = [
            nothing,
            {"share": found.share_second, "share_ci": found.share_second_ci},
            {"share": found.share_third, "share_ci": found.share_third_ci},
        ]
        for error, share in zip(found.errors, shares, strict=True):
            yield row_of(ErrorRow, share, error, found, one, wearable_name=one.wearable)


SEVERAL_TABLES = (
    Table("common_cycles", "each on the cycles that all wearables keep", CommonRow, _common_rows),
    Table("common_cycles_left_out", "cycles not common, by reason", LeftOutRow, _left_out_rows),
    Table(
        "pairs_of_instruments",
        "two wearables or two references in one recording, first minus second",
        PairOfInstrumentsRow,
        lambda results: (row_of(PairOfInstrumentsRow, one) for one in results.pairs),
    ),
    Table(
        "agreement_between_instruments",
        "limits of agreement between two wearables or two references, first minus second",
        BetweenRow,
        _between_rows,
    ),
    Table(
        "errors_of_three_instruments",
        "errors of a wearable and two references",
        ErrorRow,
        _error_rows,
    ),
)
"""Written only where a study has several wearables or references."""
