"""One trial: from its files to its numbers, every procedure on one clock and the same cycles."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from twinangle.agreement.budget import error_budget
from twinangle.agreement.curves import compare_curves
from twinangle.agreement.multiple_correlation import (
    instrument_multiple_correlation,
    multiple_correlation,
)
from twinangle.agreement.over_time import LEAST_SAMPLES, TimeAgreement, compare_over_time
from twinangle.agreement.variability import compare_variability, cycle_variability
from twinangle.analysis.clock import check_by_gyroscopes, place_reference
from twinangle.analysis.cutting import cut_cycles, effect_of_exclusions
from twinangle.analysis.likeness import judge_likeness
from twinangle.analysis.reading import TrialSignals, read_trial
from twinangle.analysis.sensor_quality import describe_sensors, saturation_notes
from twinangle.analysis.standing import neutral_standing, standing_of_reference
from twinangle.clocks import TimingCost, align, timing_cost
from twinangle.cycles import recut
from twinangle.cycles.enough import shortage
from twinangle.cycles.summary import stride_summary
from twinangle.errors import CycleError, TooFewCyclesError, TwinangleError
from twinangle.results import SensorRecord, TrialResult, Variability
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    CycleSet,
    JointMotion,
    PairedAngles,
    Synchronisation,
)
from twinangle.study import Study, Trial
from twinangle.wearable.procedures import trusts_each_field
from twinangle.wearable.quality.residual import CycleResidual, residual_by_cycle


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """What all procedures of a trial share: the signals, the clock and the cycles."""

    signals: TrialSignals
    clock: Synchronisation | None
    reference: AngleRecording | None
    cycles: CycleSet | str  # or why there are too few
    sensors: tuple[SensorRecord, ...]
    warnings: tuple[str, ...]
    field_warnings: tuple[str, ...]  # for those procedures that trust each sensor's own field
    standing_deg: float  # added to the wearable's angles: flexion in neutral standing
    gyroscope_lag: Mapping[str, Any]  # empty without raw sensors or without a reference


def analyse_trial(study: Study, trial: Trial) -> tuple[TrialResult, ...]:
    """Analyse one trial under every procedure of the study.

    Parameters
    ----------
    study : Study
        The settings.
    trial : Trial
        One row of the trials table.

    Returns
    -------
    tuple of TrialResult
        One a procedure. A fault of the trial gives the status "failed" and its message; an
        excluded trial has the status "excluded" and the reason in the table. A short recording that
        keeps one or two cycles is "pooled": they count among those of the person's other trials
        (:func:`twinangle.analysis.short_recordings.pool_short`).

    Notes
    -----
    The clock and the cycles come from the first procedure that yields an angle and serve all of
    them, so that procedures are compared on the same samples and the same strides.
    """
    procedures = study.wearable.procedures
    if trial.exclude:
        return tuple(_ended(trial, name, "excluded", trial.exclude) for name in procedures)
    signals = None
    try:
        signals = read_trial(study, trial)
        motions = {name: _attempt(signals.motion, name) for name in procedures}
        first = next((m for m in motions.values() if isinstance(m, JointMotion)), None)
        line = _shared_line(study, trial, signals, first) if first is not None else None
    except TwinangleError as error:
        reason = _after_saturation(signals, str(error))
        return tuple(_ended(trial, name, "failed", reason) for name in procedures)
    except Exception as error:
        return tuple(_ended(trial, name, "failed", _unexpected(error)) for name in procedures)
    return tuple(_finish(study, trial, name, motion, line) for name, motion in motions.items())


def _after_saturation(signals: TrialSignals | None, reason: str) -> str:
    """Put a sensor that is cut off before what failed later, which may come of it."""
    cut = saturation_notes(signals.sensors) if signals is not None else ()
    if not cut or "saturated" in reason:
        return reason
    return f"{' '.join(cut)} This may be why: {reason}"


def _attempt(estimate: Callable[[str], JointMotion], procedure: str) -> JointMotion | str:
    """Return what a procedure yields, or the message of what went wrong."""
    try:
        return estimate(procedure)
    except TwinangleError as error:
        return str(error)
    except Exception as error:
        return _unexpected(error)


def _unexpected(error: Exception) -> str:
    return f"unexpected fault in twinangle ({type(error).__name__}: {error}); please report it."


def _shared_line(study: Study, trial: Trial, signals: TrialSignals, motion: JointMotion) -> _Line:
    """Find the clock and the cycles with the first procedure's angle."""
    clock, reference = place_reference(study, trial, signals, motion)
    clock, gyroscope_lag = check_by_gyroscopes(study, signals, reference, clock)
    paired = _pair(motion.angle, reference, clock)
    standing_deg, told = standing_of_reference(study, trial, paired)
    cycles: CycleSet | str
    try:
        cycles = cut_cycles(study, trial, signals, motion, paired)
    except TooFewCyclesError as error:
        cycles = _after_saturation(signals, str(error))
    sensors, found, of_field = describe_sensors(signals.recorded, paired)
    return _Line(
        signals=signals,
        clock=clock,
        reference=reference,
        cycles=cycles,
        sensors=sensors,
        warnings=(
            *signals.warnings,
            *found,
            *told,
            *(clock.warnings if clock is not None else ()),
        ),
        field_warnings=of_field,
        standing_deg=standing_deg,
        gyroscope_lag=gyroscope_lag,
    )


def _pair(
    angle: AngleRecording, reference: AngleRecording | None, clock: Synchronisation | None
) -> PairedAngles:
    if reference is None or clock is None:
        return PairedAngles(
            wearable_deg=angle.angle_deg,
            reference_deg=None,
            start_s=angle.start_s,
            rate_hz=angle.rate_hz,
        )
    return align(angle, reference, clock)


def _finish(
    study: Study, trial: Trial, procedure: str, motion: JointMotion | str, line: _Line | None
) -> TrialResult:
    """Compare one procedure's curves with the reference's, on the shared clock and cycles."""
    if isinstance(motion, str) or line is None:
        reason = str(motion) if line is None else _after_saturation(line.signals, str(motion))
        return _ended(trial, procedure, "failed", reason)
    try:
        paired = _pair(motion.angle, line.reference, line.clock)
        paired = replace(paired, wearable_deg=paired.wearable_deg + line.standing_deg)
        blank = replace(
            _ended(trial, procedure, "ok", ""),
            synchronisation=line.clock,
            over_time=_over_time(trial, paired),
        )
        if isinstance(line.cycles, str):
            return replace(blank, status="failed", reason=line.cycles)
        found = _numbers(study, blank, motion, paired, recut(line.cycles, paired), line)
        return replace(found, standing=neutral_standing(trial, paired))
    except (TwinangleError, ValueError) as error:
        reason = _after_saturation(line.signals, str(error))
        return _ended(trial, procedure, "failed", reason)


def _numbers(
    study: Study,
    blank: TrialResult,
    motion: JointMotion,
    paired: PairedAngles,
    cycles: CycleSet,
    line: _Line,
) -> TrialResult:
    wearable = cycles.wearable_deg[cycles.kept]
    if not np.isfinite(wearable).all():
        raise CycleError("the procedure's angle has gaps within the kept cycles.")
    confidence = study.options.confidence
    short = shortage(cycles)
    result = replace(
        blank,
        status="pooled" if short else blank.status,
        reason=short,
        paired=paired,
        cycles=cycles,
        warnings=_unique(
            *line.warnings,
            *(line.field_warnings if trusts_each_field(blank.procedure) else ()),
            *motion.warnings,
            *cycles.warnings,
        ),
        strides=stride_summary(cycles),
        sensors=line.sensors,
        timing=line.signals.timing,
        gyroscope_lag=line.gyroscope_lag,
        **_quality(motion, cycles),
    )
    if short:
        return result
    result = replace(
        result,
        variability=Variability(cycle_variability(wearable, confidence=confidence)),
        exclusions=effect_of_exclusions(cycles),
        multiple_correlation=_multiple_correlations(wearable, None),
    )
    if cycles.reference_deg is None:
        return result
    reference = cycles.reference_deg[cycles.kept]
    curves = compare_curves(wearable, reference, confidence=confidence)
    return replace(
        result,
        warnings=_unique(*judge_likeness(study, curves, cycles), *result.warnings),
        agreement=curves,
        variability=Variability(
            cycle_variability(wearable, confidence=confidence),
            cycle_variability(reference, confidence=confidence),
            compare_variability(wearable, reference, confidence=confidence),
        ),
        budget=error_budget(wearable, reference, confidence=confidence),
        multiple_correlation=_multiple_correlations(wearable, reference),
        timing_cost=_timing_cost(paired, cycles, line.clock),
    )


def _over_time(trial: Trial, paired: PairedAngles) -> TimeAgreement | None:
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


def _multiple_correlations(wearable: Array, reference: Array | None) -> dict[str, float]:
    """Return the coefficients of multiple correlation, NaN where one does not exist."""
    found = {"wearable_between_cycles": multiple_correlation(wearable)}
    if reference is not None:
        found["reference_between_cycles"] = multiple_correlation(reference)
        found["instruments_within_cycles"] = instrument_multiple_correlation(wearable, reference)
    values = {name: one.value for name, one in found.items()}
    squares = {f"{name}_squared": one.squared for name, one in found.items()}
    return values | squares


def _timing_cost(
    paired: PairedAngles, cycles: CycleSet, clock: Synchronisation | None
) -> TimingCost | None:
    """Return what the lag's total uncertainty does to the RMS; None if unknown."""
    if clock is None:
        return None
    # The error at the centre of the overlap: at time 0 the drift's error adds up to a larger one.
    centre = clock.centre_lag_se_s
    error = centre if np.isfinite(centre) else clock.lag_se_s
    return timing_cost(paired, cycles, float(error)) if np.isfinite(error) else None


def _quality(motion: JointMotion, cycles: CycleSet) -> dict[str, Any]:
    """Return what the procedure says of its own angle, by the fields of a trial's result."""
    quality = motion.quality
    if quality is None:
        return {}
    residual = quality.residual_deg
    numbers = {
        "neutral_scatter_deg": quality.neutral_scatter_deg,
        "axis_spread_deg": quality.axis_spread_deg,
        "axis_difference_deg": quality.axis_difference_deg,
        "hinge_difference_deg": quality.hinge_difference_deg,
        "residual_rms_deg": _rms(residual) if residual is not None else float("nan"),
        "heading_uncertainty_deg": quality.heading_uncertainty_deg,
    }
    found = _residual_by_cycle(motion, cycles)
    rms = np.array([each.rms_deg for each in found])
    numbers["residual_cycle_median_deg"] = float(np.median(rms)) if found else float("nan")
    numbers["residual_cycle_largest_deg"] = float(rms.max()) if found else float("nan")
    return {"angle_quality": numbers, "residual_by_cycle": found}


def _residual_by_cycle(motion: JointMotion, cycles: CycleSet) -> tuple[CycleResidual, ...]:
    """Return how far each kept cycle strays from the hinge."""
    residual = motion.quality.residual_deg if motion.quality is not None else None
    angle = motion.angle
    if residual is None:
        return ()
    return residual_by_cycle(residual, angle.start_s, angle.rate_hz, cycles)


def _rms(values: Array) -> float:
    """Return the root mean square of what is not missing."""
    return float(np.sqrt(np.nanmean(values**2))) if np.isfinite(values).any() else float("nan")


def _ended(trial: Trial, procedure: str, status: str, reason: str) -> TrialResult:
    return TrialResult(
        participant=trial.participant,
        session=trial.session,
        condition=trial.condition,
        trial=trial.trial,
        side=trial.side,
        procedure=procedure,
        status=status,
        reason=reason,
        covariates=dict(trial.covariates),
    )


def _unique(*texts: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))
