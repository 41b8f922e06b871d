"""What names a recording, a trial under one procedure, and trials pooled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from twinangle.declare import number


@dataclass(frozen=True, slots=True)
class OfRecording:
    """Names one recording."""

    participant: Annotated[str, number("code of the person recorded")]
    session: Annotated[str, number("session, as the trials table names it")]
    condition: Annotated[str, number("condition, as the trials table names it")]
    trial: Annotated[str, number("trial, as the trials table names it")]
    side: Annotated[str, number("side of the body, as the trials table names it")]


@dataclass(frozen=True, slots=True)
class OfTrial(OfRecording):
    """Names one recording under one procedure."""

    procedure: Annotated[str, number("procedure that yields the wearable's angle")]


@dataclass(frozen=True, slots=True)
class OfCondition:
    """Names the trials of one condition under one procedure."""

    procedure: Annotated[str, number("procedure that yields the wearable's angle")]
    condition: Annotated[str, number("condition, as the trials table names it")]


@dataclass(frozen=True, slots=True)
class OfQuantity(OfCondition):
    """Names one quantity of the cycles of one condition under one procedure."""

    quantity: Annotated[str, number("what is compared of every cycle")]
