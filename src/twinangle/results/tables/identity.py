"""What names a recording, a trial under one procedure, and trials pooled."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any

from twinangle.declare import UNDER_TEST, WhereGiven, number
from twinangle.results.model import StudyResults
from twinangle.results.pooled import Pooled, given
from twinangle.results.tables.columns import row_of


@dataclass(frozen=True, slots=True)
class OfRecording:
    """Names one recording."""

    participant: Annotated[str, number("code of the person recorded")]
    session: Annotated[str, number("session, as the trials table names it")]
    condition: Annotated[str, number("condition, as the trials table names it")]
    trial: Annotated[str, number("trial, as the trials table names it")]
    side: Annotated[str, number("side of the body, as the trials table names it")]


@dataclass(frozen=True, slots=True)
class OfWearable(OfRecording):
    """Names one wearable of a recording, whatever the procedure."""

    wearable: Annotated[str, number("name of the wearable"), WhereGiven()]


@dataclass(frozen=True, slots=True)
class OfTrial(OfRecording):
    """Names one recording under one procedure."""

    procedure: Annotated[str, number("procedure that yields the wearable's angle"), UNDER_TEST]


@dataclass(frozen=True, slots=True)
class OfCondition:
    """Names the trials of one condition under one procedure."""

    procedure: Annotated[str, number("procedure that yields the wearable's angle"), UNDER_TEST]
    condition: Annotated[str, number("condition, as the trials table names it")]


@dataclass(frozen=True, slots=True)
class OfQuantity(OfCondition):
    """Names one quantity of the cycles of one condition under one procedure."""

    quantity: Annotated[str, number("what is compared of every cycle")]


@dataclass(frozen=True, slots=True)
class OfComparison:
    """Names one quantity compared between conditions under one procedure."""

    procedure: Annotated[str, number("procedure that yields the wearable's angle"), UNDER_TEST]
    quantity: Annotated[str, number("what is compared")]


def names_of(pooled: Pooled[Any]) -> dict[str, Any]:
    """Return what names a value: procedure, condition and quantity."""
    return {name: getattr(pooled, name) for name in ("procedure", "condition", "quantity")}


def values_of(topic: str, row: type[Any]) -> Callable[[StudyResults], Iterator[Any]]:
    """Return what yields a row for each value of a topic: its fields, under its names."""

    def rows(results: StudyResults) -> Iterator[Any]:
        for pooled, value in given(getattr(results, topic)):
            yield row_of(row, value, names_of(pooled))

    return rows
