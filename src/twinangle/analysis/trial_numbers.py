"""Numbers of one trial under one procedure that rest on more than its curves."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np

from twinangle.agreement.multiple_correlation import (
    coefficient_of_multiple_correlation,
    instrument_multiple_correlation,
)
from twinangle.agreement.over_time import LEAST_SAMPLES, TimeAgreement, compare_over_time
from twinangle.clocks import TimingCost, timing_cost
from twinangle.results.angle_found import describe_angle
from twinangle.results.designs import MultipleCorrelations
from twinangle.signals.recording import (
    Array,
    CycleSet,
    JointMotion,
    PairedAngles,
    Synchronisation,
)
from twinangle.study import Trial
from twinangle.wearable.quality.residual import residual_by_cycle


def over_time(trial: Trial, paired: PairedAngles) -> TimeAgreement | None:
    """Compare sample by sample within the stretch to analyse; None where nothing is shared."""
    if paired.reference_deg is None:
        return None
    within = np.ones(paired.time_s.size, dtype=bool)
    if trial.start_s is not None:
        within &= paired.time_s >= trial.start_s
    if trial.end_s is not None:
        within &= paired.time_s <= trial.end_s
    wearable, reference = paired.wearable_deg[within], paired.reference_deg[within]
    if np.isfinite(wearable + reference).sum() < LEAST_SAMPLES:
        return None
    return compare_over_time(wearable, reference, rate_hz=paired.rate_hz)


def multiple_correlations(wearable: Array, reference: Array | None) -> MultipleCorrelations:
    """Return the coefficients of multiple correlation, NaN where one does not exist."""
    found = {"wearable_between_cycles": coefficient_of_multiple_correlation(wearable)}
    if reference is not None:
        found["reference_between_cycles"] = coefficient_of_multiple_correlation(reference)
        found["instruments_within_cycles"] = instrument_multiple_correlation(wearable, reference)
    numbers = {item.name: float("nan") for item in fields(MultipleCorrelations)}
    numbers |= {name: one.value for name, one in found.items()}
    numbers |= {f"{name}_squared": one.squared for name, one in found.items()}
    return MultipleCorrelations(**numbers)


def timing_cost_of(
    paired: PairedAngles, cycles: CycleSet, clock: Synchronisation | None
) -> TimingCost | None:
    """Return what the lag's total uncertainty does to the RMS; None if unknown."""
    if clock is None:
        return None
    # The error at the centre of the overlap: at time 0 the drift's error adds up to a larger one.
    centre = clock.centre_lag_se_s
    error = centre if np.isfinite(centre) else clock.lag_se_s
    return timing_cost(paired, cycles, float(error)) if np.isfinite(error) else None


def quality_of(motion: JointMotion, cycles: CycleSet) -> dict[str, Any]:
    """Return what the procedure says of its own angle, by the fields of a trial's result."""
    quality, angle = motion.quality, motion.angle
    if quality is None:
        return {}
    residual = quality.residual_deg
    found = (
        ()
        if residual is None
        else residual_by_cycle(residual, angle.start_s, angle.rate_hz, cycles)
    )
    return {"angle_quality": describe_angle(quality, found), "residual_by_cycle": found}
