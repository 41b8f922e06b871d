"""Everything a run found, and its machine-readable form (`results.json`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

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
    covariates: Mapping[str, float | str] = field(default_factory=dict)
    # further parts, each plain values under its key of `results.json` (timing, angle, device …)
    extras: Mapping[str, Any] = field(default_factory=dict)

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
    values ("both", "wearable" or "reference"). Values are means over the kept cycles.
    """

    procedure: str
    condition: str
    quantity: str
    design: str
    instrument: str
    columns: tuple[str, ...]
    intraclass: tuple[IntraclassCorrelation, ...]
    error: MeasurementError
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
