"""What a study of several wearables or references finds beside each against each reference."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

import numpy as np

from twinangle.agreement._result import NO_INTERVAL, Interval
from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.agreement.three_instruments import ThreeInstruments
from twinangle.card import Shown
from twinangle.declare import Aside, Spread, data, measured, number
from twinangle.results.limits import StudyLimits
from twinangle.results.pooled import Absent
from twinangle.signals.recording import Array


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Cycles that do not count for a comparison, for one reason."""

    reason: Annotated[str, number("why they do not count, and for which instrument")]
    n_cycles: Annotated[int, number("how many they are")]


@dataclass(frozen=True, slots=True)
class CommonCycles(Shown):
    """One wearable and procedure on those cycles of a recording that every wearable keeps.

    All are cut at the same times of the reference's clock.
    """

    n_cycles: Annotated[int, number("cycles that count for every wearable")]
    left_out: Annotated[tuple[LeftOut, ...], number("cycles that do not, by reason")]
    rms_demeaned: Annotated[
        float, data("RMS of the demeaned mean curves' difference over the common cycles")
    ] = float("nan")
    reason: Annotated[str, number("why there is no such number; empty where there is")] = ""


@dataclass(frozen=True, slots=True, eq=False)
class PairOfInstruments(Shown):
    """Two wearables, or two references, held against each other in one recording.

    This is agreement between the two, not accuracy of either. Differences are first minus second.
    """

    kind: Annotated[str, number("'wearables' or 'references'")]
    first: Annotated[str, number("the instrument whose values come first")]
    second: Annotated[str, number("the instrument taken from it")]
    procedure: Annotated[str, number("procedure of both wearables; or of that which gave cycles")]
    participant: Annotated[str, number("code of the participant")]
    session: Annotated[str, number("the session")]
    condition: Annotated[str, number("the condition, such as indoor or outdoor")]
    trial: Annotated[str, number("the trial within the session")]
    side: Annotated[str, number("the side of the body")]
    clock: Annotated[str, number("how the second's clock was placed on the first's")] = ""
    lag: Annotated[
        float, measured("s", "what is added to the second's clock to land on the first's")
    ] = float("nan")
    drift: Annotated[float, measured("ppm", "drift of the second's clock against the first's")] = (
        float("nan")
    )
    n_cycles: Annotated[int, number("cycles that both keep")] = 0
    left_out: Annotated[tuple[LeftOut, ...], number("cycles that one of them does not keep")] = ()
    offset: Annotated[float, data("first minus second, mean over the mean curves")] = float("nan")
    offset_ci: Interval = NO_INTERVAL
    rms_demeaned: Annotated[float, data("RMS of the demeaned mean curves' difference")] = float(
        "nan"
    )
    rms_demeaned_ci: Interval = NO_INTERVAL
    range_difference: Annotated[
        float, data("range of the first's mean curve minus that of the second's")
    ] = float("nan")
    correlation: Annotated[float, number("Pearson's, between the mean curves")] = float("nan")
    reason: Annotated[str, number("why they are not compared; empty where they are")] = ""
    first_curves: Annotated[Array, Aside(np.zeros((0, 0)))] = field(
        default_factory=lambda: np.zeros((0, 0))
    )
    second_curves: Annotated[Array, Aside(np.zeros((0, 0)))] = field(
        default_factory=lambda: np.zeros((0, 0))
    )

    @property
    def pair(self) -> tuple[str, str, str, str]:
        """What names the two, whatever the recording."""
        return self.kind, self.first, self.second, self.procedure

    @property
    def label(self) -> str:
        """The recording's name."""
        parts = [self.participant, self.condition]
        parts += [f"session {self.session}"] if self.session else []
        parts += [f"trial {self.trial}"] if self.trial else []
        return " ".join(part for part in [*parts, self.side] if part)


@dataclass(frozen=True, slots=True, eq=False)
class LimitsBetween(Shown):
    """Limits of agreement between two wearables, or two references: first minus second."""

    kind: Annotated[str, number("'wearables' or 'references'")]
    first: Annotated[str, number("the instrument whose values come first")]
    second: Annotated[str, number("the instrument taken from it")]
    procedure: Annotated[str, number("procedure of both wearables; or of that which gave cycles")]
    condition: Annotated[str, number("the condition")]
    quantity: Annotated[str, number("what was compared")]
    value: Annotated[LimitsOfAgreement | Absent, Spread()]
    participant: Annotated[tuple[str, ...], number("whose each point is, one a cycle")] = ()
    size: Annotated[Array, data("mean of the two instruments, one a point")] = field(
        default_factory=lambda: np.zeros(0)
    )
    difference: Annotated[Array, data("first minus second, one a point")] = field(
        default_factory=lambda: np.zeros(0)
    )

    @property
    def points(self) -> StudyLimits | Absent:
        """The limits with their points, as those against a reference are; or why there are none."""
        if isinstance(self.value, Absent):
            return self.value
        if not self.difference.size:
            return Absent("written without the points")
        return StudyLimits(
            limits=self.value,
            note="",
            participant=self.participant,
            size=self.size,
            difference=self.difference,
            zero=np.full(self.difference.size, np.nan),
            zeroed=Absent("zeros are of a wearable and its reference"),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Triple:
    """One recording of a wearable and two references: their curves of the same cycles."""

    wearable: str
    procedure: str
    first: str
    second: str
    participant: str
    condition: str
    curves: tuple[Array, Array, Array]

    @property
    def names(self) -> tuple[str, str, str, str]:
        """What names the three, whatever the recording."""
        return self.wearable, self.procedure, self.first, self.second


@dataclass(frozen=True, slots=True, eq=False)
class ErrorsOfThree(Shown):
    """Errors of a wearable and of two references, and what the references explain."""

    wearable: Annotated[str, number("name of the wearable; empty where there is but one")]
    procedure: Annotated[str, number("procedure that gave the wearable's angle")]
    first: Annotated[str, number("the first reference")]
    second: Annotated[str, number("the second reference")]
    condition: Annotated[str, number("the condition")]
    quantity: Annotated[str, number("what was compared")]
    value: Annotated[ThreeInstruments | Absent, Spread()]
