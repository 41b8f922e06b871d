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
from twinangle.agreement.variability import compare_variability, cycle_variability
from twinangle.analysis.analysed_part import mask_reference
from twinangle.analysis.clock import check_by_gyroscopes, place_reference
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
from twinangle.cycles import find_cycles, recut
from twinangle.cycles.summary import stride_summary
from twinangle.errors import CycleError, TwinangleError
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
from twinangle.study.overrides_table import read_overrides
from twinangle.wearable.procedures import trusts_each_field
from twinangle.wearable.quality.residual import CycleResidual, residual_by_cycle


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """What all procedures of a trial share: the signals, the clock and the cycles."""

    signals: TrialSignals
    clock: Synchronisation | None
    reference: AngleRecording | None
    cycles: CycleSet
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
        excluded trial has the status "excluded" and the reason in the table.

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
    cycles = find_cycles(
        paired,
        method=study.cycles.method,
        sagittal_rate_rad_s=motion.sagittal_rate_rad_s,
        vertical_rate_rad_s=motion.vertical_rate_rad_s,
        start_s=trial.start_s,
        end_s=trial.end_s,
        events_s=signals.events_s if study.cycles.method == "events" else None,
        overrides=read_overrides(study, trial),
        masked=trial.mask,
    )
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
        cycles = recut(line.cycles, paired)
        blank = _ended(trial, procedure, "ok", "", line.plausibility)
        found = _numbers(study, blank, motion, paired, cycles, line)
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
    own = cycle_variability(wearable, confidence=confidence)
    result = replace(
        blank,
        synchronisation=line.clock,
        clock=None if line.clock is None else clock_found(line.clock, study.options),
        paired=paired,
        cycles=cycles,
        variability=Variability(own),
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
        multiple_correlation=_multiple_correlations(wearable, None),
        **_quality(motion, cycles),
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
