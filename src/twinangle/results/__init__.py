"""What a run found: the model, and its machine-readable form."""

from twinangle.results.designs import AlongCycle, LimitForms, Reliability, Variability
from twinangle.results.limits import StudyLimits
from twinangle.results.model import InputFile, PooledRecording, StudyResults
from twinangle.results.pooled import Absent, Pooled, absences, given, named
from twinangle.results.sensors_found import SensorRecord
from twinangle.results.trial_result import NeutralStanding, TrialResult

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


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
