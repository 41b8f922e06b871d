"""What one trial gave under one procedure: clock, cycles, curves, variability, quality."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

from twinangle.agreement._result import NO_INTERVAL, Interval
from twinangle.agreement.budget import ErrorBudget
from twinangle.agreement.curves import CurveAgreement
from twinangle.agreement.exclusion_effect import ExclusionEffect
from twinangle.agreement.over_time import TimeAgreement
from twinangle.agreement.variability import CycleVariability, VariabilityComparison
from twinangle.card import Card, Shown
from twinangle.clocks import GyroscopeLag, TimingCost
from twinangle.cycles.daily_life import DailyLife
from twinangle.cycles.summary import StrideSummary
from twinangle.declare import UNDER_TEST, Aside, Named, WhereGiven, measured, number
from twinangle.notices import Gravity, gravity_of, kind_of, size_of
from twinangle.plausibility.mounting import Mounting
from twinangle.plausibility.outcome import Outcome
from twinangle.results.angle_found import AngleFound
from twinangle.results.clock_found import ClockFound
from twinangle.results.cycles_found import CyclesFound, describe_cycles
from twinangle.results.decided import ChosenCycles
from twinangle.results.designs import MultipleCorrelations, Variability
from twinangle.results.instruments import CommonCycles, PairOfInstruments, Triple
from twinangle.results.pooled import Absent
from twinangle.results.sensors_found import SensorRecord
from twinangle.signals.recording import CycleSet, PairedAngles, Synchronisation
from twinangle.signals.timing import TimingReport
from twinangle.under_test import procedure_of, under_test, wearable_of
from twinangle.wearable.quality.residual import CycleResidual

Scalar = bool | int | float | str
"""A value whose key says its unit."""


@dataclass(frozen=True, slots=True)
class NeutralStanding(Shown):
    """Mean angle of both instruments in neutral standing; NaN where it is not known."""

    wearable_deg: Annotated[float, measured("deg", "the wearable's mean angle")] = float("nan")
    reference_deg: Annotated[float, measured("deg", "the reference's mean angle")] = float("nan")
    unknown: Annotated[str, number("why one is not known; empty where both are")] = ""

    @property
    def difference_deg(self) -> Annotated[float, measured("deg", "wearable minus reference")]:
        """Wearable minus reference: what zeroing both at standing takes off every difference."""
        return self.wearable_deg - self.reference_deg


@dataclass(frozen=True, slots=True)
class WarningKind(Shown):
    """What one of a trial's warnings is about, and how grave it is."""

    kind: Annotated[str, number("what it is about, the same word for every recording")]
    gravity: Annotated[Gravity, number("'note', 'warning' or 'grave'")]
    size: Annotated[float, number("larger is worse, within a kind; null where it has none")]


@dataclass(frozen=True, slots=True, eq=False)
class TrialResult(Shown):
    """One trial under one procedure.

    `status` is "ok", "pooled" (too few cycles for curves of its own, pooled with the person's other
    trials), "failed" or "excluded"; `reason` says why when it is not "ok", and every later field
    may then be None. `paired` holds the traces on the wearable's clock, for figures.
    """

    participant: Annotated[str, number("code of the participant")]
    session: Annotated[str, number("the session")]
    condition: Annotated[str, number("the condition, such as indoor or outdoor")]
    trial: Annotated[str, number("the trial within the session")]
    side: Annotated[str, number("the side of the body")]
    procedure: Annotated[str, number("procedure that gave the wearable's angle"), UNDER_TEST]
    status: Annotated[
        str, number("'ok', 'pooled' with others of the person, 'failed' or 'excluded'")
    ]
    reason: Annotated[str, number("why it is pooled, failed or excluded")] = ""
    warnings: Annotated[tuple[str, ...], number("what to know before the trial is used")] = ()
    synchronisation: Annotated[
        Synchronisation | None, number("how the reference's clock was placed on the wearable's")
    ] = None
    clock: Annotated[
        ClockFound | None, number("interval of the drift and error of the line of lag and drift")
    ] = None
    paired: Annotated[PairedAngles | None, Aside()] = None  # tables/traces
    cycles: Annotated[CycleSet | None, Aside()] = None  # tables/cycles
    agreement: Annotated[
        CurveAgreement | None, number("the mean curves compared; null without a reference")
    ] = None
    over_time: Annotated[
        TimeAgreement | None,
        number("the instruments compared sample by sample; null without a reference"),
    ] = None
    standing: Annotated[
        NeutralStanding | None, number("both instruments in standing"), Named("neutral_standing")
    ] = None
    variability: Annotated[Variability | None, number("variability between the cycles")] = None
    exclusions: Annotated[
        ExclusionEffect | None, number("SDs over all cycles of the movement beside those over kept")
    ] = None
    timing_cost: Annotated[
        TimingCost | None, number("what the lag's uncertainty does to the RMS")
    ] = None
    budget: Annotated[
        ErrorBudget | None, number("parts of the mean squared difference over all cycles")
    ] = None
    strides: Annotated[
        StrideSummary | None, number("durations of the kept cycles"), Named("cycle_durations")
    ] = None
    sensors: Annotated[tuple[SensorRecord, ...], number("each sensor's own record")] = ()
    plausibility: Annotated[
        tuple[Outcome, ...], number("what the physical tests say of the instruments")
    ] = ()
    mounting: Annotated[tuple[Mounting, ...], Aside(())] = ()  # for trials that share a standing
    covariates: Annotated[Mapping[str, Scalar], number("further columns of the trials table")] = (
        field(default_factory=dict)
    )
    timing: Annotated[
        Mapping[str, TimingReport], number("how even each file's own clock is, by instrument")
    ] = field(default_factory=dict)
    gyroscope_lag: Annotated[
        GyroscopeLag | Absent | None,
        number("the lag by the sensors' gyroscopes; null without them or without a reference"),
    ] = None
    angle_quality: Annotated[
        AngleFound | None, number("what the procedure says of its own angle; null if nothing")
    ] = None
    residual_by_cycle: Annotated[
        tuple[CycleResidual, ...], number("joint rotation outside the hinge in each kept cycle")
    ] = ()
    multiple_correlation: Annotated[
        MultipleCorrelations | None, number("coefficients of multiple correlation")
    ] = None
    daily: Annotated[
        DailyLife | None,
        number("walking over a recording that was read in stretches; null for others"),
        Named("daily_life"),
    ] = None
    chosen: Annotated[
        ChosenCycles | None,
        number("what decisions on its cycles did; null without any"),
        Named("chosen_by_hand"),
    ] = None
    undecided: Annotated[TrialResult | None, Aside()] = None  # without decisions, for pooling
    common: Annotated[
        CommonCycles | None,
        number("the same on the cycles that all of several wearables keep"),
        Named("on_common_cycles"),
        WhereGiven(),
    ] = None
    pairs: Annotated[tuple[PairOfInstruments, ...], Aside(())] = ()  # of instruments, for pooling
    triples: Annotated[tuple[Triple, ...], Aside(())] = ()  # with two references, likewise

    @property
    def wearable(self) -> str:
        """The wearable's name; empty where the study has but one."""
        return wearable_of(self.procedure)

    @property
    def shown(self) -> str:
        """What is under test, without a reference that was not worn in this recording."""
        worn = self.agreement is not None or self.synchronisation is not None
        if worn or self.status not in ("ok", "pooled"):
            return self.procedure
        return under_test(self.wearable, procedure_of(self.procedure))

    def _card(self) -> Card:
        from twinangle.results.cards import card_of_trial  # it needs this class

        return card_of_trial(self)

    @property
    def warning_kinds(
        self,
    ) -> Annotated[tuple[WarningKind, ...], number("of each warning, in the same order")]:
        """Kind, gravity and size of each warning, in the order of `warnings`."""
        return tuple(
            WarningKind(kind_of(each), gravity_of(each), size_of(each)) for each in self.warnings
        )

    @property
    def cycles_found(
        self,
    ) -> Annotated[CyclesFound | None, number("cycles found and left out"), Named("cycles")]:
        """What is told of the cycles beside the table of them."""
        return None if self.cycles is None else describe_cycles(self.cycles)

    @property
    def wearable_variability(self) -> CycleVariability | None:
        """Variability between the wearable's cycles."""
        return None if self.variability is None else self.variability.wearable

    @property
    def reference_variability(self) -> CycleVariability | None:
        """Variability between the reference's cycles; None without one."""
        return None if self.variability is None else self.variability.reference

    @property
    def variability_compared(self) -> VariabilityComparison | None:
        """How the instruments' variability compares; None without a reference."""
        return None if self.variability is None else self.variability.comparison

    @property
    def offset_zeroed_deg(
        self,
    ) -> Annotated[float, measured("deg", "offset with both instruments zeroed at standing")]:
        """Offset of the mean curves with both instruments zeroed at standing; NaN if not known."""
        if self.agreement is None or self.standing is None:
            return float("nan")
        return self.agreement.offset - self.standing.difference_deg

    @property
    def offset_zeroed_ci_deg(
        self,
    ) -> Annotated[Interval, measured("deg", "its interval over cycles, standing as known")]:
        """Its interval over cycles: that of the offset, moved; standing is taken as known."""
        if self.agreement is None or self.standing is None:
            return NO_INTERVAL
        low, high = self.agreement.offset_ci
        return low - self.standing.difference_deg, high - self.standing.difference_deg

    @property
    def label(self) -> str:
        """Return the trial's name for messages and page headings."""
        parts = [self.participant, self.condition]
        parts += [f"session {self.session}"] if self.session else []
        parts += [f"trial {self.trial}"] if self.trial else []
        return " ".join(part for part in [*parts, self.side] if part)
