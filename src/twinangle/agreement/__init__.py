"""Agreement of two instruments that measure the same thing: pure statistics on arrays.

Nothing here knows of sensors, files or joints; test and reference may be any two instruments, in
any unit. Differences are always test minus reference. Every result has `summary()`, a sentence
rounded for a paper, `to_frame()`, the unrounded numbers, and `assumptions`.
"""

from twinangle.agreement.along_cycle import (
    CurveDifference,
    FunctionalLimits,
    difference_along_cycle,
    functional_limits,
)
from twinangle.agreement.bands import CurveBand, curve_band
from twinangle.agreement.budget import ErrorBudget, error_budget
from twinangle.agreement.curves import CurveAgreement, compare_curves
from twinangle.agreement.deming import DemingLine, deming_regression
from twinangle.agreement.difference_checks import DifferenceChecks, check_differences
from twinangle.agreement.equivalence import Equivalence, equivalence_test, judge_limits
from twinangle.agreement.exclusion_effect import ExclusionEffect, exclusion_effect
from twinangle.agreement.forms import (
    LimitsAtSize,
    RatioLimits,
    RegressionLimits,
    ratio_limits,
    regression_limits,
)
from twinangle.agreement.limits import limits_of_agreement, within_participant_limits
from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.agreement.lin_concordance import Concordance, concordance
from twinangle.agreement.mixed import MixedModelLimits, mixed_model_limits
from twinangle.agreement.multiple_correlation import (
    MultipleCorrelation,
    coefficient_of_multiple_correlation,
    instrument_multiple_correlation,
)
from twinangle.agreement.over_time import TimeAgreement, compare_over_time
from twinangle.agreement.percentiles import PercentileLimits, percentile_limits
from twinangle.agreement.planned_conditions import participants_for_sd_ratio
from twinangle.agreement.planned_sessions import participants_for_sem
from twinangle.agreement.planning import (
    SampleSize,
    cycles_for_mean,
    cycles_for_sd,
    participants_for_limits,
    participants_for_limits_within,
)
from twinangle.agreement.pooled_budget import PooledBudget, pool_budgets
from twinangle.agreement.pooled_curves import PooledCurves, pool_curves
from twinangle.agreement.pooled_variability import PooledVariability, pool_variability
from twinangle.agreement.reference_error import CorrectedLimits, limits_without_reference_error
from twinangle.agreement.reliability import IntraclassCorrelation, intraclass_correlations
from twinangle.agreement.retest import MeasurementError, measurement_error
from twinangle.agreement.sensitivity import Sensitivity, WithoutOne, leave_one_out
from twinangle.agreement.simulated_studies import SimulatedStudies, simulate_studies
from twinangle.agreement.three_instruments import (
    InstrumentError,
    ThreeInstruments,
    three_instrument_errors,
)
from twinangle.agreement.variability import (
    CycleVariability,
    VariabilityComparison,
    compare_variability,
    cycle_variability,
)

__all__ = [
    "Concordance",
    "CorrectedLimits",
    "CurveAgreement",
    "CurveBand",
    "CurveDifference",
    "CycleVariability",
    "DemingLine",
    "DifferenceChecks",
    "Equivalence",
    "ErrorBudget",
    "ExclusionEffect",
    "FunctionalLimits",
    "InstrumentError",
    "IntraclassCorrelation",
    "LimitsAtSize",
    "LimitsOfAgreement",
    "MeasurementError",
    "MixedModelLimits",
    "MultipleCorrelation",
    "PercentileLimits",
    "PooledBudget",
    "PooledCurves",
    "PooledVariability",
    "RatioLimits",
    "RegressionLimits",
    "SampleSize",
    "Sensitivity",
    "SimulatedStudies",
    "ThreeInstruments",
    "TimeAgreement",
    "VariabilityComparison",
    "WithoutOne",
    "check_differences",
    "coefficient_of_multiple_correlation",
    "compare_curves",
    "compare_over_time",
    "compare_variability",
    "concordance",
    "curve_band",
    "cycle_variability",
    "cycles_for_mean",
    "cycles_for_sd",
    "deming_regression",
    "difference_along_cycle",
    "equivalence_test",
    "error_budget",
    "exclusion_effect",
    "functional_limits",
    "instrument_multiple_correlation",
    "intraclass_correlations",
    "judge_limits",
    "leave_one_out",
    "limits_of_agreement",
    "limits_without_reference_error",
    "measurement_error",
    "mixed_model_limits",
    "participants_for_limits",
    "participants_for_limits_within",
    "participants_for_sd_ratio",
    "participants_for_sem",
    "percentile_limits",
    "pool_budgets",
    "pool_curves",
    "pool_variability",
    "ratio_limits",
    "regression_limits",
    "simulate_studies",
    "three_instrument_errors",
    "within_participant_limits",
]


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
