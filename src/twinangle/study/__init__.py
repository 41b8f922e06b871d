"""The study file and its trials table, validated whole, as one frozen value."""

from __future__ import annotations

from twinangle.study.decided import apply_decisions, read_study
from twinangle.study.decision import Decision
from twinangle.study.decisions import append_decision, read_decisions
from twinangle.study.from_arrays import AngleTrial
from twinangle.study.from_file import read_bare_study
from twinangle.study.planned import covariate_columns, read_planned_study
from twinangle.study.reference_settings import (
    AngleReference,
    MarkerReference,
    OrientationReference,
    Reference,
)
from twinangle.study.settings import (
    AgreementSettings,
    ConditionSettings,
    CycleSettings,
    DailyLifeSettings,
    SynchronisationSettings,
)
from twinangle.study.study_file import Study
from twinangle.study.trial_row import SensorFiles, Trial
from twinangle.study.trial_settings import own_settings_note, settings_of
from twinangle.study.wearable_settings import (
    AngleWearable,
    InertialWearable,
    OrientationWearable,
    Wearable,
    merged_columns,
)

__all__ = [
    "AgreementSettings",
    "AngleReference",
    "AngleTrial",
    "AngleWearable",
    "ConditionSettings",
    "CycleSettings",
    "DailyLifeSettings",
    "Decision",
    "InertialWearable",
    "MarkerReference",
    "OrientationReference",
    "OrientationWearable",
    "Reference",
    "SensorFiles",
    "Study",
    "SynchronisationSettings",
    "Trial",
    "Wearable",
    "append_decision",
    "apply_decisions",
    "covariate_columns",
    "merged_columns",
    "own_settings_note",
    "read_bare_study",
    "read_decisions",
    "read_planned_study",
    "read_study",
    "settings_of",
]


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
