"""What a run found: the model, and its machine-readable form."""

from twinangle.results.designs import AlongCycle, LimitForms, Reliability, Variability
from twinangle.results.limits import StudyLimits
from twinangle.results.model import (
    InputFile,
    NeutralStanding,
    PooledRecording,
    SensorRecord,
    StudyResults,
    TrialResult,
)
from twinangle.results.pooled import Absent, Pooled, absences, given, named

__all__ = [
    "Absent",
    "AlongCycle",
    "InputFile",
    "LimitForms",
    "NeutralStanding",
    "Pooled",
    "PooledRecording",
    "Reliability",
    "SensorRecord",
    "StudyLimits",
    "StudyResults",
    "TrialResult",
    "Variability",
    "absences",
    "given",
    "named",
]
