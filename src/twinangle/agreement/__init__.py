"""Agreement of two instruments that measure the same thing: pure statistics on arrays.

Nothing here knows of sensors, files or joints; test and reference may be any two instruments, in
any unit. Differences are always test minus reference. Every result has `summary()`, a sentence
rounded for a paper, `to_frame()`, the unrounded numbers, and `assumptions`.
"""

from twinangle.agreement.curves import CurveAgreement, LineFit, compare_curves, fit_line
from twinangle.agreement.limits import (
    LimitsOfAgreement,
    limits_of_agreement,
    within_participant_limits,
)
from twinangle.agreement.variability import (
    CycleVariability,
    PitmanMorgan,
    VariabilityComparison,
    compare_variability,
    cycle_variability,
    pitman_morgan,
)

__all__ = [
    "CurveAgreement",
    "CycleVariability",
    "LimitsOfAgreement",
    "LineFit",
    "PitmanMorgan",
    "VariabilityComparison",
    "compare_curves",
    "compare_variability",
    "cycle_variability",
    "fit_line",
    "limits_of_agreement",
    "pitman_morgan",
    "within_participant_limits",
]
