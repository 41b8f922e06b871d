"""Everything a run found, and its machine-readable form (`results.json`)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from twinangle.agreement._result import NO_INTERVAL, Interval, interval, quantity
from twinangle.agreement.along_cycle import CurveDifference, FunctionalLimits
from twinangle.agreement.budget import ErrorBudget, PooledBudget
from twinangle.agreement.conditions import ConditionDifference
from twinangle.agreement.conditions_adjusted import AdjustedRatio
from twinangle.agreement.curves import CurveAgreement
from twinangle.agreement.deming import DemingLine
from twinangle.agreement.difference_checks import DifferenceChecks
from twinangle.agreement.equivalence import CorrectedLimits, Equivalence
from twinangle.agreement.forms import LimitsAtSize, RatioLimits, RegressionLimits
from twinangle.agreement.limits import LimitsOfAgreement
from twinangle.agreement.mixed import MixedModelLimits
from twinangle.agreement.percentiles import PercentileLimits
from twinangle.agreement.pooled_curves import PooledCurves
from twinangle.agreement.pooled_variability import PooledVariability
from twinangle.agreement.ranking import Contest
from twinangle.agreement.reliability import (
    Concordance,
    IntraclassCorrelation,
    MeasurementError,
)
from twinangle.agreement.variability import CycleVariability, VariabilityComparison
from twinangle.clocks import TimingCost
from twinangle.cycles.summary import StrideSummary
from twinangle.options import Options
from twinangle.signals.recording import Array, CycleSet, PairedAngles, Synchronisation

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class SensorRecord:
    """What a trial's own recording tells of one sensor and of the field around it.

    `device` and `field` hold the numbers under the names of `results.json`; `field` is None
    without a magnetometer. The three arrays, one value a second, are for the figure: time, mean
    deviation of the field's norm (a share of the undisturbed norm) and disturbed share.
    """

    segment: str  # "proximal" or "distal"
    device: Mapping[str, Any]
    field: Mapping[str, Any] | None
    time_s: Array
    norm_deviation: Array
    disturbed_share: Array


@dataclass(frozen=True, slots=True)
class NeutralStanding:
    """Mean angle of both instruments in neutral standing, degrees; NaN where it is not known.

    `unknown` says why, and is empty where both are known.
    """

    wearable_deg: float = float("nan")
    reference_deg: float = float("nan")
    unknown: str = ""

    @property
    def difference_deg(self) -> float:
        """Wearable minus reference: what zeroing both at standing takes off every difference."""
        return self.wearable_deg - self.reference_deg


@dataclass(frozen=True, slots=True, eq=False)
class TrialResult:
    """One trial under one procedure.

    `status` is "ok", "failed" or "excluded"; `reason` says why when it is not "ok", and every
    later field may then be None. `paired` holds the traces on the wearable's clock, for figures.
    """

    participant: str
    session: str
    condition: str
    trial: str
    side: str
    procedure: str
    status: str
    reason: str = ""
    warnings: tuple[str, ...] = ()
    synchronisation: Synchronisation | None = None
    paired: PairedAngles | None = None
    cycles: CycleSet | None = None
    agreement: CurveAgreement | None = None  # None without a reference
    wearable_variability: CycleVariability | None = None
    reference_variability: CycleVariability | None = None
    variability: VariabilityComparison | None = None  # None without a reference
    timing_cost: TimingCost | None = None  # what the lag's uncertainty does to the RMS
    budget: ErrorBudget | None = None  # parts of the mean squared difference over all cycles
    strides: StrideSummary | None = None
    sensors: tuple[SensorRecord, ...] = ()
    standing: NeutralStanding | None = None
    covariates: Mapping[str, float | str] = field(default_factory=dict)
    # further parts, each plain values under its key of `results.json` (timing, angle, device …)
    extras: Mapping[str, Any] = field(default_factory=dict)

    @property
    def offset_zeroed_deg(self) -> float:
        """Offset of the mean curves with both instruments zeroed at standing; NaN if not known."""
        if self.agreement is None or self.standing is None:
            return float("nan")
        return self.agreement.offset - self.standing.difference_deg

    @property
    def offset_zeroed_ci_deg(self) -> Interval:
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


@dataclass(frozen=True, slots=True, eq=False)
class PooledLimits:
    """Limits of agreement over all trials of one condition under one procedure.

    `limits` is None when they cannot be given; `note` then says why, and otherwise what the
    numbers rest on (participants, or the cycles of one participant). `size` and `difference` are
    the points of the plot, one a cycle, with `participant` beside them.
    """

    procedure: str
    condition: str
    quantity: str  # mean_deg, peak_flexion_deg or range_deg
    limits: LimitsOfAgreement | None
    note: str
    participant: tuple[str, ...]
    size: tuple[float, ...]  # mean of the two instruments, degrees
    difference: tuple[float, ...]  # wearable minus reference, degrees
    # with the reference's own stated error taken out, where the study states it
    corrected: CorrectedLimits | None = None
    # with the interval of Zou (2013), where the study asks for it and `limits` have another
    published: LimitsOfAgreement | None = None
    corrected_note: str = ""  # why it is not given although the study states that error
    # with both instruments zeroed at neutral standing, each recording by itself
    zeroed: LimitsOfAgreement | None = None
    zeroed_note: str = ""  # why they are not given
    # how the instruments differ in neutral standing, one a point; NaN where it is not known
    zero: tuple[float, ...] = ()

    @property
    def bias_rms_deg(self) -> tuple[float, float]:
        """Root mean square over participants of their own bias, as recorded and both zeroed."""
        people: dict[str, list[tuple[float, float]]] = {}
        zeros = self.zero or (math.nan,) * len(self.difference)
        for code, value, zero in zip(self.participant, self.difference, zeros, strict=True):
            people.setdefault(code, []).append((value, value - zero))
        means = [[sum(column) / len(own) for column in zip(*own, strict=True)]
                 for own in people.values()]  # fmt: skip
        recorded, zeroed = (
            math.sqrt(sum(mean[k] ** 2 for mean in means) / len(means)) for k in (0, 1)
        )
        return recorded, zeroed

    @property
    def bias_from_zero_deg(self) -> float:
        """The part of the bias that is the instruments' zeros; NaN if not known."""
        if self.limits is None or self.zeroed is None:
            return float("nan")
        return self.limits.bias - self.zeroed.bias

    def zero_sentence(self) -> str:
        """Say which part of the bias is the zeros and what is left, or why it is not known."""
        if self.limits is None or self.zeroed is None:
            return f"Zero of both instruments: not known; {self.zeroed_note}"
        zeroed, (before, after) = self.zeroed, self.bias_rms_deg
        return (
            f"Zero of both instruments: {quantity(self.bias_from_zero_deg, '°')} of the bias of "
            f"{quantity(self.limits.bias, '°')} is how they differ in neutral standing; both "
            f"zeroed there, the bias is {quantity(zeroed.bias, '°')} "
            f"({interval(zeroed.bias_ci, '°', zeroed.confidence)}), the limits "
            f"{quantity(zeroed.lower, '°')} ({interval(zeroed.lower_ci, '°', zeroed.confidence)}) "
            f"to {quantity(zeroed.upper, '°')} "
            f"({interval(zeroed.upper_ci, '°', zeroed.confidence)}). Participants' own biases are "
            f"{quantity(before, '°')} RMS as recorded and {quantity(after, '°')} zeroed."
        )


@dataclass(frozen=True, slots=True, eq=False)
class LimitForms:
    """Limits of one quantity in further forms, beside the main one, and what the checks showed.

    A form is None where the data do not support it; `not_given` says why, by the form's name.
    `regression` and `deming` are over participants' means; the others over cycles, participants
    counting the same. `at_sizes` are limits by regression at the smallest, middle and largest mean
    of a participant.
    """

    procedure: str
    condition: str
    quantity: str
    checks: DifferenceChecks
    regression: RegressionLimits | None
    ratio: RatioLimits | None
    percentile: PercentileLimits | None
    mixed: MixedModelLimits | None
    not_given: tuple[tuple[str, str], ...]
    at_sizes: tuple[LimitsAtSize, ...] = ()
    deming: DemingLine | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Reliability:
    """How alike participants' values are over the columns of a design.

    `design` is "both instruments", "sessions" or "trials of one session"; `instrument` whose
    values ("both", "wearable" or "reference"). Values are means over the kept cycles. `error` is of
    one instrument measured again; between two it is None, for it would be the SD of their
    differences under another name.
    """

    procedure: str
    condition: str
    quantity: str
    design: str
    instrument: str
    columns: tuple[str, ...]
    intraclass: tuple[IntraclassCorrelation, ...]
    error: MeasurementError | None
    concordance: Concordance | None  # of two columns


@dataclass(frozen=True, slots=True, eq=False)
class FurtherParts:
    """Parts that only some designs support, and why the others are not given.

    `curves` and `variability`: (procedure, condition, numbers); `adjusted`: (procedure, quantity,
    ratio); `not_given`: (part, reason).
    """

    curves: tuple[tuple[str, str, PooledCurves], ...] = ()
    variability: tuple[tuple[str, str, PooledVariability], ...] = ()
    forms: tuple[LimitForms, ...] = ()
    reliability: tuple[Reliability, ...] = ()
    adjusted: tuple[tuple[str, str, AdjustedRatio], ...] = ()
    not_given: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class InputFile:
    """One file the results rest on, relative to the study file."""

    path: str
    sha256: str


@dataclass(frozen=True, slots=True, eq=False)
class StudyResults:
    """A whole run: trials, pooled limits, conditions, and what they rest on."""

    title: str
    joint: str
    options: Options
    trials: tuple[TrialResult, ...]
    limits: tuple[PooledLimits, ...]
    conditions: tuple[
        tuple[str, str, ConditionDifference], ...
    ]  # (procedure, quantity, difference)
    version: str
    inputs: tuple[InputFile, ...]
    parameters: Mapping[str, object]
    notes: tuple[str, ...] = ()
    # procedures on the same trials, ranked by RMS demeaned: (condition, contest)
    contests: tuple[tuple[str, Contest], ...] = ()
    # (procedure, condition, budget), one budget a participant
    budgets: tuple[tuple[str, str, PooledBudget], ...] = ()
    # (procedure, condition, quantity, claim) against the margin; none without one
    equivalence: tuple[tuple[str, str, str, Equivalence], ...] = ()
    # (procedure, condition, limits at every point, where the instruments differ)
    along_cycle: tuple[tuple[str, str, FunctionalLimits, CurveDifference], ...] = ()
    further: FurtherParts = FurtherParts()
    invented: bool = False  # the data are invented, as the study file says

    @property
    def confidence(self) -> float:
        """Confidence of every interval."""
        return self.options.confidence

    @property
    def acceptable_deg(self) -> float | None:
        """The margin stated beforehand, in degrees; None where none was."""
        return self.options.margin_deg

    def to_frame(self) -> pd.DataFrame:
        """Return one row a trial and procedure: identifiers, status and every number, unrounded.

        Returns
        -------
        pandas.DataFrame
            Columns named as the keys of `results.json`, nested keys joined by a full stop.
        """
        import pandas as pd

        from twinangle.results.serialise import trial_record

        return pd.json_normalize([trial_record(trial) for trial in self.trials])

    def to_json(self) -> dict[str, Any]:
        """Return the whole as plain values, as written to `results.json` (no NaN, stable order)."""
        from twinangle.results.serialise import study_record

        return study_record(self)
