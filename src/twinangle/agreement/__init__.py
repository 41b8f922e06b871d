"""Agreement of two instruments that measure the same thing: pure statistics on arrays.

Nothing here knows of sensors, files or joints; test and reference may be any two instruments, in
any unit. Differences are always test minus reference. Every result has `summary()`, a sentence
rounded for a paper, `to_frame()`, the unrounded numbers, and `assumptions`.
"""

from twinangle.agreement.curves import CurveAgreement, LineFit, compare_curves, fit_line
from twinangle.agreement.deming import DemingLine, deming_regression
from twinangle.agreement.equivalence import (
    CorrectedLimits,
    Equivalence,
    ShareWithin,
    equivalence,
    limits_without_reference_error,
    share_within,
)
from twinangle.agreement.forms import (
    PercentileLimits,
    RatioLimits,
    RegressionLimits,
    percentile_limits,
    ratio_limits,
    regression_limits,
)
from twinangle.agreement.limits import (
    LimitsOfAgreement,
    limits_of_agreement,
    within_participant_limits,
)
from twinangle.agreement.mixed import MixedModelLimits, mixed_model_limits
from twinangle.agreement.multiple_correlation import (
    MultipleCorrelation,
    instrument_multiple_correlation,
    multiple_correlation,
)
from twinangle.agreement.reliability import (
    Concordance,
    IntraclassCorrelation,
    MeasurementError,
    concordance,
    intraclass_correlation,
    intraclass_correlations,
    measurement_error,
)
from twinangle.agreement.unlinked import UnlinkedLimits, unlinked_limits
from twinangle.agreement.variability import (
    CycleVariability,
    PitmanMorgan,
    VariabilityComparison,
    compare_variability,
    cycle_variability,
    pitman_morgan,
)

__all__ = [
    "Concordance",
    "CorrectedLimits",
    "CurveAgreement",
    "CycleVariability",
    "DemingLine",
    "Equivalence",
    "IntraclassCorrelation",
    "LimitsOfAgreement",
    "LineFit",
    "MeasurementError",
    "MixedModelLimits",
    "MultipleCorrelation",
    "PercentileLimits",
    "PitmanMorgan",
    "RatioLimits",
    "RegressionLimits",
    "ShareWithin",
    "UnlinkedLimits",
    "VariabilityComparison",
    "compare_curves",
    "compare_variability",
    "concordance",
    "cycle_variability",
    "deming_regression",
    "equivalence",
    "fit_line",
    "instrument_multiple_correlation",
    "intraclass_correlation",
    "intraclass_correlations",
    "limits_of_agreement",
    "limits_without_reference_error",
    "measurement_error",
    "mixed_model_limits",
    "multiple_correlation",
    "percentile_limits",
    "pitman_morgan",
    "ratio_limits",
    "regression_limits",
    "share_within",
    "unlinked_limits",
    "within_participant_limits",
]
