"""What a run found: the model, and its machine-readable form."""

from twinangle.results.model import (
    FurtherParts,
    InputFile,
    LimitForms,
    NeutralStanding,
    PooledLimits,
    Reliability,
    SensorRecord,
    StudyResults,
    TrialResult,
)

__all__ = [
    "FurtherParts",
    "InputFile",
    "LimitForms",
    "NeutralStanding",
    "PooledLimits",
    "Reliability",
    "SensorRecord",
    "StudyResults",
    "TrialResult",
]
