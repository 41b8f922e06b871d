"""Everything a run found, and its machine-readable form (`results.json`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Annotated, Any

from twinangle.agreement.conditions import ConditionDifference
from twinangle.agreement.conditions_adjusted import AdjustedRatio
from twinangle.agreement.curves import CurveAgreement
from twinangle.agreement.equivalence import Equivalence
from twinangle.agreement.pooled_budget import PooledBudget
from twinangle.agreement.pooled_curves import PooledCurves
from twinangle.agreement.pooled_variability import PooledVariability
from twinangle.agreement.ranking import Contest
from twinangle.agreement.sensitivity import Sensitivity
from twinangle.card import Card, Several, Shown
from twinangle.declare import UNDER_TEST, Named, number
from twinangle.options import Options
from twinangle.results.decided import DecisionRecord, WithoutDecisions
from twinangle.results.designs import (
    AlongCycle,
    LimitForms,
    Reliability,
    Variability,
)
from twinangle.results.instruments import ErrorsOfThree, LimitsBetween, PairOfInstruments
from twinangle.results.limits import StudyLimits
from twinangle.results.pooled import Pooled
from twinangle.results.serialise import study_record, trial_record
from twinangle.results.trial_result import TrialResult

if TYPE_CHECKING:
    import pandas as pd

    from twinangle.results.tables.frames import Frames


@dataclass(frozen=True, slots=True)
class InputFile:
    """One file the results rest on, relative to the study file."""

    path: str
    sha256: str


@dataclass(frozen=True, slots=True, eq=False)
class PooledRecording(Shown):
    """Short recordings of one person, side and condition, their kept cycles taken together.

    `agreement` and `variability` are over the cycles of all of them; `reason` says why there are
    none.
    """

    participant: Annotated[str, number("code of the participant")]
    session: Annotated[str, number("the session")]
    condition: Annotated[str, number("the condition, such as indoor or outdoor")]
    side: Annotated[str, number("the side of the body")]
    procedure: Annotated[str, number("procedure that gave the wearable's angle"), UNDER_TEST]
    trials: Annotated[tuple[str, ...], number("the trials whose cycles are pooled")]
    n_cycles: Annotated[int, number("cycles kept in all of them")]
    agreement: Annotated[
        CurveAgreement | None, number("the mean curves compared; null without a reference")
    ] = None
    variability: Annotated[Variability | None, number("variability between the cycles")] = None
    reason: Annotated[str, number("why their curves are not given; empty where they are")] = ""


@dataclass(frozen=True, slots=True, eq=False)
class StudyResults(Shown):
    """A whole run: trials, what they say together topic by topic, and what it rests on."""

    title: str
    joint: str
    options: Options
    trials: tuple[TrialResult, ...]
    version: str
    inputs: tuple[InputFile, ...]
    parameters: Mapping[str, object]
    notes: tuple[str, ...] = ()
    recordings_pooled: Annotated[
        tuple[PooledRecording, ...], number("short recordings of one person together")
    ] = ()
    pairs: Annotated[
        tuple[PairOfInstruments, ...], number("two of several wearables or references")
    ] = ()
    between: Annotated[
        tuple[LimitsBetween, ...], number("what two wearables or references say together")
    ] = ()
    errors_of_three: Annotated[
        tuple[ErrorsOfThree, ...], number("errors of a wearable and two references")
    ] = ()
    decisions: Annotated[
        tuple[DecisionRecord, ...],
        number("what people decided while looking, and whether it counts"),
    ] = ()
    without_decisions: Annotated[
        tuple[WithoutDecisions, ...], number("the numbers as they are without decisions by hand")
    ] = ()
    invented: bool = False  # the data are invented, as the study file says
    limits: Annotated[
        tuple[Pooled[StudyLimits], ...],
        number("limits of agreement"),
        Named("limits_of_agreement"),
    ] = ()
    forms: Annotated[tuple[Pooled[LimitForms], ...], number("limits in further forms")] = ()
    curves: Annotated[
        tuple[Pooled[PooledCurves], ...], number("mean curves over participants")
    ] = ()
    variability: Annotated[
        tuple[Pooled[PooledVariability], ...], number("variability over participants")
    ] = ()
    conditions: Annotated[
        tuple[Pooled[ConditionDifference], ...], number("conditions compared")
    ] = ()
    conditions_adjusted: Annotated[
        tuple[Pooled[AdjustedRatio], ...], number("conditions at equal covariates")
    ] = ()
    ranking: Annotated[
        tuple[Pooled[Contest], ...], number("procedures on the same trials, ranked")
    ] = ()
    budget: Annotated[
        tuple[Pooled[PooledBudget], ...], number("mean error budgets over participants")
    ] = ()
    reliability: Annotated[
        tuple[Pooled[Reliability], ...], number("intraclass correlation and measurement error")
    ] = ()
    equivalence: Annotated[
        tuple[Pooled[Equivalence], ...], number("limits judged against the margin")
    ] = ()
    along_cycle: Annotated[
        tuple[Pooled[AlongCycle], ...], number("limits at every point of the cycle")
    ] = ()
    sensitivity: Annotated[
        tuple[Pooled[Sensitivity], ...], number("limits without each participant in turn")
    ] = ()

    def __post_init__(self) -> None:
        """Let what is of many show its first few."""
        for item in fields(self):
            value = getattr(self, item.name)
            if type(value) is tuple and item.name not in ("notes", "inputs"):
                object.__setattr__(self, item.name, Several(value))

    def _card(self) -> Card:
        from twinangle.results.cards import card_of_study  # it needs this class

        return card_of_study(self)

    @property
    def frames(self) -> Frames:
        """Every table of the run as a pandas frame: `frames.limits`, `frames["bouts"]`.

        The rows, names and units are those of `tables/`; `list(results.frames)` names them all.
        `trials`, `limits`, `curves` and `conditions` of the results themselves are values, not
        frames.
        """
        from twinangle.results.tables.frames import Frames  # it needs this class

        return Frames(self)

    @property
    def walking(self) -> bool:
        """Whether the movement is walking, so that a cycle is a stride; else it is an exercise."""
        cycles = self.parameters.get("cycles")
        return not isinstance(cycles, Mapping) or cycles.get("movement", "walking") == "walking"

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

        return pd.json_normalize([trial_record(trial) for trial in self.trials])

    def to_json(self) -> dict[str, Any]:
        """Return the whole as plain values, as written to `results.json` (no NaN, stable order)."""
        return study_record(self)
