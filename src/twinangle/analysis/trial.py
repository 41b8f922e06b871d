"""One trial: from its files to its numbers, every procedure on one clock and the same cycles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol, TypeVar

import numpy as np

from twinangle.agreement.budget import error_budget
from twinangle.agreement.curves import compare_curves
from twinangle.agreement.variability import compare_variability, cycle_variability
from twinangle.analysis.analysed_part import mask_reference
from twinangle.analysis.chosen_cycles import chosen_cycles
from twinangle.analysis.clock import check_by_gyroscopes, place_reference
from twinangle.analysis.clock_of_part import seen_by_both
from twinangle.analysis.cutting import cut_cycles, cut_undecided, effect_of_exclusions
from twinangle.analysis.daily_life import OnStretch, first_stretch, whole_recording
from twinangle.analysis.field_effect import judged_by_effect
from twinangle.analysis.large_numbers import large_numbers
from twinangle.analysis.likeness import judge_likeness
from twinangle.analysis.opened import Opened, open_trial, unexpected
from twinangle.analysis.plausibility import (
    ContradictionError,
    doubts,
    examine_instruments,
    mountings_of,
)
from twinangle.analysis.reading import TrialSignals
from twinangle.analysis.requirements import require_fit
from twinangle.analysis.sensor_quality import describe_sensors
from twinangle.analysis.standing import neutral_standing, standing_of_reference
from twinangle.analysis.trial_numbers import (
    multiple_correlations,
    over_time,
    quality_of,
    timing_cost_of,
)
from twinangle.clocks import GyroscopeLag, StepTold, align
from twinangle.cycles import recut
from twinangle.cycles.enough import shortage
from twinangle.cycles.summary import stride_summary
from twinangle.errors import CycleError, TooFewCyclesError, TwinangleError
from twinangle.notices import gravity_of, kind_of
from twinangle.plausibility.mounting import Mounting
from twinangle.plausibility.outcome import Outcome
from twinangle.results import Absent, SensorRecord, TrialResult, Variability
from twinangle.results.clock_found import clock_found
from twinangle.signals.recording import (
    AngleRecording,
    CycleSet,
    JointMotion,
    PairedAngles,
    Synchronisation,
)
from twinangle.study import DailyLifeSettings, Study, Trial, settings_of
from twinangle.wearable.procedures import trusts_each_field

Cut = TypeVar("Cut")


class CutElsewhere(Protocol):
    """Cuts a recording at the cycles that another wearable found in it."""

    def __call__(
        self,
        study: Study,
        trial: Trial,
        signals: TrialSignals,
        motion: JointMotion,
        paired: PairedAngles,
        *,
        clock: Synchronisation | None,
    ) -> CycleSet:
        """Return the cycles; the clock is that of this wearable's reference."""


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """What all procedures of a trial share: the signals, the clock and the cycles."""

    signals: TrialSignals
    clock: Synchronisation | None
    reference: AngleRecording | None
    cycles: CycleSet | str  # or why there are too few
    undecided: CycleSet | str | None  # without decisions on cycles; None where there are none
    sensors: tuple[SensorRecord, ...]
    warnings: tuple[str, ...]
    field_warnings: tuple[str, ...]  # for those procedures that trust each sensor's own field
    standing_deg: float  # added to the wearable's angles: flexion in neutral standing
    plausibility: tuple[Outcome, ...]
    mounting: tuple[Mounting, ...]
    gyroscope_lag: GyroscopeLag | Absent | None


def analyse_trial(
    study: Study,
    trial: Trial,
    *,
    opened: Opened | None = None,
    cycles_by: CutElsewhere | None = None,
    on_stretch: OnStretch | None = None,
) -> tuple[TrialResult, ...]:
    """Analyse one trial under every procedure of the study.

    Parameters
    ----------
    study : Study
        The settings.
    trial : Trial
        One row of the trials table.
    opened : Opened, optional
        The recording as it was read before, which is taken where it fits this trial.
    cycles_by : callable, optional
        Cuts the recording at the cycles of another wearable; left out, it is cut at its own.
    on_stretch : callable, optional
        Called with the hours done, and about how many there are, of a recording that is read in
        stretches; once for each wearable and reference of several.

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
    if study.parts:
        from twinangle.analysis.instruments import analyse_parts  # it needs this function

        return analyse_parts(study, trial, on_stretch)
    if trial.exclude:
        return _excluded(study, trial, opened)
    if study.daily_life.stretch_min is not None and opened is None:
        return _analyse_in_stretches(study, trial, on_stretch)
    study = settings_of(study, trial)
    procedures = study.wearable.procedures
    tested: tuple[Outcome, ...] = ()
    grave: tuple[str, ...] = ()

    def failed(reason: str) -> tuple[TrialResult, ...]:
        return tuple(_ended(trial, name, "failed", reason, tested) for name in procedures)

    try:
        if opened is None or not opened.fits(study, trial):
            opened = open_trial(study, trial)
        signals = opened.signals
        grave = _grave(signals)
        require_fit(study, trial, signals)
        tested = opened.tested(study, trial)
        motions = opened.motions(procedures)
        first = next((m for m in motions.values() if isinstance(m, JointMotion)), None)
        line = (
            _shared_line(study, trial, signals, first, tested, cycles_by)
            if first is not None
            else None
        )
    except ContradictionError as error:
        tested = error.outcomes
        return failed(_after_known(grave, str(error)))
    except TwinangleError as error:
        return failed(_after_known((*grave, *doubts(tested)), _message(error)))
    except Exception as error:
        return failed(unexpected(error))
    return tuple(
        _finish(study, trial, name, motion, line)
        if line is not None and isinstance(motion, JointMotion)
        else _ended(
            trial,
            name,
            "failed",
            _after_known((*grave, *doubts(tested)), str(motion)),
            tested,
        )
        for name, motion in motions.items()
    )


def _analyse_in_stretches(
    study: Study, trial: Trial, on_stretch: OnStretch | None
) -> tuple[TrialResult, ...]:
    """Analyse a recording of a day or a week without ever holding the whole of it."""
    try:
        within, first, parts = first_stretch(study, trial)
        base = analyse_trial(replace(within, daily_life=DailyLifeSettings()), first)
        return whole_recording(study, trial, base, parts, on_stretch)
    except TwinangleError as error:
        reason = str(error)
    except Exception as error:
        reason = unexpected(error)
    return tuple(_ended(trial, name, "failed", reason) for name in study.wearable.procedures)


def _excluded(study: Study, trial: Trial, opened: Opened | None) -> tuple[TrialResult, ...]:
    """Return that a trial is out; where somebody decided it, with what it would have given."""
    ended = [_ended(trial, name, "excluded", trial.exclude) for name in study.wearable.procedures]
    if trial.by_hand is None or not trial.by_hand.excluded:
        return tuple(ended)
    bare = replace(trial, exclude="", by_hand=replace(trial.by_hand, excluded="", cycles=()))
    return tuple(
        replace(one, undecided=replace(undecided, paired=None))
        for one, undecided in zip(ended, analyse_trial(study, bare, opened=opened), strict=True)
    )


def _grave(signals: TrialSignals) -> tuple[str, ...]:
    """Return the grave warnings of the files, such as of a plug pulled out."""
    return tuple(text for text in signals.warnings if gravity_of(text) == "grave")


def _after_known(known: tuple[str, ...], reason: str) -> str:
    """Put what is known of the recording before what failed later, which may come of it."""
    known = tuple(text for text in known if text not in reason)
    if not known:
        return reason
    before = f"{' '.join(known)} This may be why: "
    return StepTold(reason.found, before) if isinstance(reason, StepTold) else before + reason


def _message(error: TwinangleError) -> str:
    """Return what an error says, a text that knows its step as it is."""
    told = error.args[0] if error.args else ""
    return told if isinstance(told, StepTold) else str(error)


def _shared_line(
    study: Study,
    trial: Trial,
    signals: TrialSignals,
    motion: JointMotion,
    tested: tuple[Outcome, ...],
    cycles_by: CutElsewhere | None,
) -> _Line:
    """Find the clock and the cycles with the first procedure's angle."""
    clock, reference = place_reference(study, trial, signals, motion)
    clock, gyroscope_lag = check_by_gyroscopes(study, trial, signals, reference, clock)
    paired = mask_reference(trial, _pair(motion.angle, reference, clock))
    tested = examine_instruments(study, trial, signals, clock, paired, tested)
    standing_deg, told = standing_of_reference(study, seen_by_both(trial, clock), paired)

    def attempt(cut: Callable[..., Cut]) -> Cut | str:
        try:
            return cut(study, trial, signals, motion, paired)
        except TooFewCyclesError as error:
            return _after_known((*_grave(signals), *doubts(tested)), str(error))

    sensors, found, of_field = describe_sensors(signals.recorded, paired)
    return _Line(
        signals=signals,
        clock=clock,
        reference=reference,
        cycles=attempt(cut_cycles if cycles_by is None else partial(cycles_by, clock=clock)),
        undecided=attempt(cut_undecided),
        sensors=sensors,
        warnings=(
            *(trial.by_hand.told if trial.by_hand is not None else ()),
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
    """Compare one procedure's curves with the reference's, on the shared clock and cycles.

    Where cycles were chosen by hand, what they would give without that goes with it.
    """
    found = _compared(study, trial, procedure, motion, line)
    if line.undecided is None:
        return found
    bare = _compared(study, trial, procedure, motion, replace(line, cycles=line.undecided))
    return replace(
        found, chosen=chosen_cycles(trial, found, bare), undecided=replace(bare, paired=None)
    )


def _compared(
    study: Study, trial: Trial, procedure: str, motion: JointMotion, line: _Line
) -> TrialResult:
    try:
        paired = mask_reference(trial, _pair(motion.angle, line.reference, line.clock))
        paired = replace(paired, wearable_deg=paired.wearable_deg + line.standing_deg)
        blank = replace(
            _ended(trial, procedure, "ok", "", line.plausibility),
            synchronisation=line.clock,
            over_time=over_time(trial, paired),
        )
        if isinstance(line.cycles, str):
            return replace(blank, status="failed", reason=line.cycles)
        found = _numbers(study, blank, motion, paired, recut(line.cycles, paired), line)
        return replace(found, standing=neutral_standing(seen_by_both(trial, line.clock), paired))
    except (TwinangleError, ValueError) as error:
        known = (*_grave(line.signals), *doubts(line.plausibility))
        reason = _after_known(known, str(error))
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
        **quality_of(motion, cycles),
    )
    if short:
        return result
    own = cycle_variability(wearable, confidence=confidence)
    result = replace(
        result,
        variability=Variability(own),
        exclusions=effect_of_exclusions(cycles),
        multiple_correlation=multiple_correlations(wearable, None),
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
        multiple_correlation=multiple_correlations(wearable, reference),
        timing_cost=timing_cost_of(paired, cycles, line.clock),
    )


def _of_the_field(line: _Line, procedure: str, paired: PairedAngles) -> tuple[str, ...]:
    """Return the shared warnings, those of the magnetic field only where headings rest on it."""
    if not trusts_each_field(procedure):
        return tuple(text for text in line.warnings if kind_of(text) != "field-strength")
    field = judged_by_effect(line.field_warnings, procedure, line.signals.sensors, paired)
    return (*line.warnings, *field)


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
        warnings=() if trial.by_hand is None else trial.by_hand.told,
        covariates=dict(trial.covariates),
        plausibility=tested,
    )


def _unique(*texts: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))
