"""One trial: from its files to its numbers, every procedure on one clock and the same cycles."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from twinangle.agreement.budget import error_budget
from twinangle.agreement.curves import compare_curves
from twinangle.agreement.multiple_correlation import (
    coefficient_of_multiple_correlation,
    instrument_multiple_correlation,
)
from twinangle.agreement.over_time import LEAST_SAMPLES, TimeAgreement, compare_over_time
from twinangle.agreement.variability import compare_variability, cycle_variability
from twinangle.analysis.analysed_part import mask_reference
from twinangle.analysis.clock import check_by_gyroscopes, place_reference
from twinangle.analysis.cutting import cut_cycles, effect_of_exclusions
from twinangle.analysis.field_effect import judged_by_effect
from twinangle.analysis.large_numbers import large_numbers
from twinangle.analysis.likeness import judge_likeness
from twinangle.analysis.plausibility import (
    ContradictionError,
    doubts,
    examine_instruments,
    examine_sensors,
    mountings_of,
)
from twinangle.analysis.reading import TrialSignals, read_trial
from twinangle.analysis.requirements import require_fit
from twinangle.analysis.sensor_quality import describe_sensors
from twinangle.analysis.standing import neutral_standing, standing_of_reference
from twinangle.clocks import TimingCost, align, timing_cost
from twinangle.cycles import recut
from twinangle.cycles.enough import shortage
from twinangle.cycles.summary import stride_summary
from twinangle.errors import CycleError, TooFewCyclesError, TwinangleError
from twinangle.notices import kind_of
from twinangle.plausibility.mounting import Mounting
from twinangle.plausibility.outcome import Outcome
from twinangle.results import SensorRecord, TrialResult, Variability
from twinangle.results.clock_found import clock_found
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    CycleSet,
    JointMotion,
    PairedAngles,
    Synchronisation,
)
from twinangle.study import Study, Trial, settings_of
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
    plausibility: tuple[Outcome, ...]
    mounting: tuple[Mounting, ...]
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
    study = settings_of(study, trial)
    procedures = study.wearable.procedures
    if trial.exclude:
        return tuple(_ended(trial, name, "excluded", trial.exclude) for name in procedures)
    signals: TrialSignals | None = None
    tested: tuple[Outcome, ...] = ()

    def failed(reason: str) -> tuple[TrialResult, ...]:
        return tuple(_ended(trial, name, "failed", reason, tested) for name in procedures)

    try:
        signals = read_trial(study, trial)
        require_fit(study, trial, signals)
        tested = examine_sensors(study, trial, signals)
        motions = {name: _attempt(signals.motion, name) for name in procedures}
        first = next((m for m in motions.values() if isinstance(m, JointMotion)), None)
        line = _shared_line(study, trial, signals, first, tested) if first is not None else None
    except ContradictionError as error:
        tested = error.outcomes
        return failed(str(error))
    except TwinangleError as error:
        return failed(_after_known(tested, str(error)))
    except Exception as error:
        return failed(_unexpected(error))
    return tuple(
        _finish(study, trial, name, motion, line)
        if line is not None and isinstance(motion, JointMotion)
        else _ended(trial, name, "failed", _after_known(tested, str(motion)), tested)
        for name, motion in motions.items()
    )


def _after_known(tested: tuple[Outcome, ...], reason: str) -> str:
    """Put what is known of the sensors before what failed later, which may come of it."""
    known = tuple(text for text in doubts(tested) if text not in reason)
    return f"{' '.join(known)} This may be why: {reason}" if known else reason


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


def _shared_line(
    study: Study,
    trial: Trial,
    signals: TrialSignals,
    motion: JointMotion,
    tested: tuple[Outcome, ...],
) -> _Line:
    """Find the clock and the cycles with the first procedure's angle."""
    clock, reference = place_reference(study, trial, signals, motion)
    clock, gyroscope_lag = check_by_gyroscopes(study, trial, signals, reference, clock)
    paired = mask_reference(trial, _pair(motion.angle, reference, clock))
    tested = examine_instruments(study, trial, signals, clock, paired, tested)
    standing_deg, told = standing_of_reference(study, trial, paired)
    cycles: CycleSet | str
    try:
        cycles = cut_cycles(study, trial, signals, motion, paired)
    except TooFewCyclesError as error:
        cycles = _after_known(tested, str(error))
    sensors, found, of_field = describe_sensors(signals.recorded, paired)
    return _Line(
        signals=signals,
        clock=clock,
        reference=reference,
        cycles=cycles,
        sensors=sensors,
        warnings=(
            *doubts(tested),
            *signals.warnings,
            *found,
            *told,
            *(clock.warnings if clock is not None else ()),
        ),
        field_warnings=of_field,
        standing_deg=standing_deg,
        plausibility=tested,
        mounting=mountings_of(study, trial, signals),
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
    study: Study, trial: Trial, procedure: str, motion: JointMotion, line: _Line
) -> TrialResult:
    """Compare one procedure's curves with the reference's, on the shared clock and cycles."""
    try:
        paired = mask_reference(trial, _pair(motion.angle, line.reference, line.clock))
        paired = replace(paired, wearable_deg=paired.wearable_deg + line.standing_deg)
        blank = replace(
            _ended(trial, procedure, "ok", "", line.plausibility),
            synchronisation=line.clock,
            over_time=_over_time(trial, paired),
        )
        if isinstance(line.cycles, str):
            return replace(blank, status="failed", reason=line.cycles)
        found = _numbers(study, blank, motion, paired, recut(line.cycles, paired), line)
        return replace(found, standing=neutral_standing(trial, paired))
    except (TwinangleError, ValueError) as error:
        reason = _after_known(line.plausibility, str(error))
        return _ended(trial, procedure, "failed", reason, line.plausibility)


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
        clock=None if line.clock is None else clock_found(line.clock, study.options),
        paired=paired,
        cycles=cycles,
        warnings=_unique(
            *_of_the_field(line, blank.procedure, paired),
            *motion.warnings,
            *cycles.warnings,
        ),
        strides=stride_summary(cycles),
        sensors=line.sensors,
        timing=line.signals.timing,
        mounting=line.mounting,
        gyroscope_lag=line.gyroscope_lag,
        **_quality(motion, cycles),
    )
    if short:
        return result
    own = cycle_variability(wearable, confidence=confidence)
    result = replace(
        result,
        variability=Variability(own),
        exclusions=effect_of_exclusions(cycles),
        multiple_correlation=_multiple_correlations(wearable, None),
    )
    if cycles.reference_deg is None:
        return replace(
            result, warnings=_unique(*large_numbers(None, {"wearable": own}), *result.warnings)
        )
    reference = cycles.reference_deg[cycles.kept]
    spread = cycle_variability(reference, confidence=confidence)
    curves = compare_curves(wearable, reference, confidence=confidence)
    return replace(
        result,
        warnings=_unique(
            *judge_likeness(study, curves, cycles),
            *large_numbers(curves, {"wearable": own, "reference": spread}),
            *result.warnings,
        ),
        agreement=curves,
        variability=Variability(
            own,
            spread,
            compare_variability(wearable, reference, confidence=confidence),
        ),
        budget=error_budget(wearable, reference, confidence=confidence),
        multiple_correlation=_multiple_correlations(wearable, reference),
        timing_cost=_timing_cost(paired, cycles, line.clock),
    )


def _of_the_field(line: _Line, procedure: str, paired: PairedAngles) -> tuple[str, ...]:
    """Return the shared warnings, those of the magnetic field only where headings rest on it."""
    if not trusts_each_field(procedure):
        return tuple(text for text in line.warnings if kind_of(text) != "field-strength")
    field = judged_by_effect(line.field_warnings, procedure, line.signals.sensors, paired)
    return (*line.warnings, *field)


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
    found = {"wearable_between_cycles": coefficient_of_multiple_correlation(wearable)}
    if reference is not None:
        found["reference_between_cycles"] = coefficient_of_multiple_correlation(reference)
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


def _ended(
    trial: Trial,
    procedure: str,
    status: str,
    reason: str,
    tested: tuple[Outcome, ...] = (),
) -> TrialResult:
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
        plausibility=tested,
    )


def _unique(*texts: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))
