"""One trial: from its files to its numbers, every procedure on one clock and the same cycles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Protocol, TypeVar

import numpy as np

from twinangle.analysis.analysed_part import as_cut, mask_reference
from twinangle.analysis.clock import place_reference, take_gyroscopes
from twinangle.analysis.clock_of_part import seen_by_both
from twinangle.analysis.cutting import cut_cycles, cut_undecided, effect_of_exclusions
from twinangle.analysis.daily_life import OnStretch, first_stretch, whole_recording
from twinangle.analysis.field_effect import judged_by_effect
from twinangle.analysis.intervals import with_intervals
from twinangle.analysis.measured import Measured, Measurements, after_known, ended
from twinangle.analysis.opened import UNEXPECTED, Opened, open_trial, unexpected
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
from twinangle.analysis.stretch_cycles import Found, cycles_of_first
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
from twinangle.errors import (
    AngleError,
    CycleError,
    RecordingError,
    SynchronisationError,
    TooFewCyclesError,
    TwinangleError,
    UnreadError,
)
from twinangle.notices import gravity_of, kind_of
from twinangle.plausibility.mounting import Mounting
from twinangle.plausibility.outcome import Outcome
from twinangle.results import Absent, SensorRecord, TrialResult
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
# What fails so once fails again, unless a file could not be read.
OF_NUMBERS = (AngleError, CycleError, RecordingError, SynchronisationError)


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
    angle_clock: Synchronisation | None  # before the gyroscopes' lag took the angle's place
    reference: AngleRecording | None
    cycles: CycleSet | str  # or why there are too few
    undecided: CycleSet | str | None  # without decisions on cycles; None where there are none
    sensors: tuple[SensorRecord, ...]
    warnings: tuple[str, ...]  # but those of the clock
    field_warnings: tuple[str, ...]  # for those procedures that trust each sensor's own field
    standing_deg: float  # added to the wearable's angles: flexion in neutral standing
    plausibility: tuple[Outcome, ...]
    mounting: tuple[Mounting, ...]
    gyroscopes: GyroscopeLag | Absent | None


def analyse_trial(
    study: Study,
    trial: Trial,
    *,
    opened: Opened | None = None,
    cycles_by: CutElsewhere | None = None,
    on_stretch: OnStretch | None = None,
    measured: Measurements | None = None,
    pair: str = "",
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
    measured : mapping, optional
        What was measured of it before, which is taken as it is; what is measured is put there. It
        rests on all settings but those of :func:`without_statistics`.
    pair : str
        The name there, of one of several instruments.

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

        return analyse_parts(study, trial, on_stretch, measured)
    measured = {} if measured is None else measured
    if trial.exclude:
        return _excluded(study, trial, opened, measured, pair)
    if study.daily_life.stretch_min is not None and opened is None:
        return _analyse_in_stretches(study, trial, on_stretch)
    study = settings_of(study, trial)
    if pair not in measured:
        measured[pair] = _measured(without_statistics(study), trial, opened, cycles_by)
    return tuple(with_intervals(study, trial, one) for one in measured[pair])


def without_statistics(study: Study) -> Study:
    """Return a study without the sections that nothing measured may rest on: to ask is a fault.

    They are those that the key of what was measured leaves out.
    """
    nothing: Any = None
    return replace(study, agreement=nothing, conditions=nothing, report=nothing)


def _measured(
    study: Study, trial: Trial, opened: Opened | None, cycles_by: CutElsewhere | None
) -> tuple[Measured, ...]:
    """Return what is measured in a recording under each procedure, or why nothing is."""
    procedures = study.wearable.procedures
    tested: tuple[Outcome, ...] = ()
    grave: tuple[str, ...] = ()

    def failed(reason: str, *, lasting: bool) -> tuple[Measured, ...]:
        return tuple(
            Measured(ended(trial, name, "failed", reason, tested), lasting=lasting)
            for name in procedures
        )

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
        return failed(after_known(grave, str(error)), lasting=True)
    except TwinangleError as error:
        reason = after_known((*grave, *doubts(tested)), _message(error))
        of_numbers = isinstance(error, OF_NUMBERS) and not isinstance(error, UnreadError)
        return failed(reason, lasting=of_numbers)
    except Exception as error:
        return failed(unexpected(error), lasting=False)
    return tuple(
        _under(as_cut(study, trial), name, motion, line)
        if line is not None and isinstance(motion, JointMotion)
        else Measured(
            ended(
                trial,
                name,
                "failed",
                after_known((*grave, *doubts(tested)), str(motion)),
                tested,
            ),
            lasting=not str(motion).startswith(UNEXPECTED),
        )
        for name, motion in motions.items()
    )


def _analyse_in_stretches(
    study: Study, trial: Trial, on_stretch: OnStretch | None
) -> tuple[TrialResult, ...]:
    """Analyse a recording of a day or a week without ever holding the whole of it."""
    try:
        within, first, parts = first_stretch(study, trial)
        within = replace(within, daily_life=DailyLifeSettings())
        base, of_first = _of_first_stretch(within, first)
        return whole_recording(study, trial, base, of_first, parts, on_stretch)
    except TwinangleError as error:
        reason = str(error)
    except Exception as error:
        reason = unexpected(error)
    return tuple(ended(trial, name, "failed", reason) for name in study.wearable.procedures)


def _of_first_stretch(study: Study, trial: Trial) -> tuple[tuple[TrialResult, ...], Found]:
    """Return what comes of the first stretch with its reference, and its cycles without."""
    try:
        opened = open_trial(study, trial)
    except Exception:
        opened = None  # why, the results say
    base = analyse_trial(study, trial, opened=opened)
    return base, cycles_of_first(study, trial, base, opened)


def _excluded(
    study: Study, trial: Trial, opened: Opened | None, measured: Measurements, pair: str
) -> tuple[TrialResult, ...]:
    """Return that a trial is out; where somebody decided it, with what it would have given."""
    out = [ended(trial, name, "excluded", trial.exclude) for name in study.wearable.procedures]
    if trial.by_hand is None or not trial.by_hand.excluded:
        return tuple(out)
    bare = replace(trial, exclude="", by_hand=replace(trial.by_hand, excluded="", cycles=()))
    found = analyse_trial(study, bare, opened=opened, measured=measured, pair=pair)
    return tuple(
        replace(one, undecided=replace(undecided, paired=None))
        for one, undecided in zip(out, found, strict=True)
    )


def _grave(signals: TrialSignals) -> tuple[str, ...]:
    """Return the grave warnings of the files, such as of a plug pulled out."""
    return tuple(text for text in signals.warnings if gravity_of(text) == "grave")


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
    row, trial = trial, as_cut(study, trial)
    angle_clock, reference = place_reference(study, trial, signals, motion)
    clock, gyroscopes = take_gyroscopes(study, trial, signals, reference, angle_clock)
    paired = mask_reference(trial, _pair(motion.angle, reference, clock))
    tested = examine_instruments(study, row, signals, clock, paired, tested)
    standing_deg, told = standing_of_reference(study, seen_by_both(trial, clock), paired)

    def attempt(cut: Callable[..., Cut]) -> Cut | str:
        try:
            return cut(study, trial, signals, motion, paired)
        except TooFewCyclesError as error:
            return after_known((*_grave(signals), *doubts(tested)), str(error))

    sensors, found, of_field = describe_sensors(signals.recorded, paired)
    return _Line(
        signals=signals,
        clock=clock,
        angle_clock=angle_clock,
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
        ),
        field_warnings=of_field,
        standing_deg=standing_deg,
        plausibility=tested,
        mounting=mountings_of(study, trial, signals),
        gyroscopes=gyroscopes,
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


def _under(trial: Trial, procedure: str, motion: JointMotion, line: _Line) -> Measured:
    """Measure one procedure's curves and the reference's, on the shared clock and cycles."""
    found = _on_cycles(trial, procedure, motion, line)
    if line.undecided is None:
        return found
    bare = _on_cycles(trial, procedure, motion, replace(line, cycles=line.undecided))
    return replace(found, undecided=bare)


def _on_cycles(trial: Trial, procedure: str, motion: JointMotion, line: _Line) -> Measured:
    try:
        paired = mask_reference(trial, _pair(motion.angle, line.reference, line.clock))
        paired = replace(paired, wearable_deg=paired.wearable_deg + line.standing_deg)
        blank = replace(
            ended(trial, procedure, "ok", "", line.plausibility),
            synchronisation=line.clock,
            over_time=over_time(trial, paired),
        )
        found = Measured(blank, angle_clock=line.angle_clock, gyroscopes=line.gyroscopes)
        if isinstance(line.cycles, str):
            return replace(found, result=replace(blank, status="failed", reason=line.cycles))
        result = _numbers(blank, motion, paired, recut(line.cycles, paired), line)
        before, after = _told(line, procedure, motion, paired, result)
        standing = neutral_standing(seen_by_both(trial, line.clock), paired)
        result = replace(result, standing=standing)
        return replace(found, result=result, told_before=before, told_after=after)
    except (TwinangleError, ValueError) as error:
        known = (*_grave(line.signals), *doubts(line.plausibility))
        reason = after_known(known, str(error))
        return Measured(ended(trial, procedure, "failed", reason, line.plausibility))


def _numbers(
    blank: TrialResult,
    motion: JointMotion,
    paired: PairedAngles,
    cycles: CycleSet,
    line: _Line,
) -> TrialResult:
    wearable = cycles.wearable_deg[cycles.kept]
    if not np.isfinite(wearable).all():
        raise CycleError("the procedure's angle has gaps within the kept cycles.")
    short = shortage(cycles)
    result = replace(
        blank,
        status="pooled" if short else blank.status,
        reason=short,
        paired=paired,
        cycles=cycles,
        strides=stride_summary(cycles),
        sensors=line.sensors,
        timing=line.signals.timing,
        mounting=line.mounting,
        **quality_of(motion, cycles),
    )
    if short:
        return result
    reference = None if cycles.reference_deg is None else cycles.reference_deg[cycles.kept]
    return replace(
        result,
        exclusions=effect_of_exclusions(cycles),
        multiple_correlation=multiple_correlations(wearable, reference),
        timing_cost=None if reference is None else timing_cost_of(paired, cycles, line.clock),
    )


def _told(
    line: _Line, procedure: str, motion: JointMotion, paired: PairedAngles, result: TrialResult
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the warnings that go before those of the clock, and after them.

    Those of the magnetic field are there only where headings rest on it.
    """
    own = (*motion.warnings, *(result.cycles.warnings if result.cycles is not None else ()))
    if not trusts_each_field(procedure):
        return tuple(text for text in line.warnings if kind_of(text) != "field-strength"), own
    field = judged_by_effect(line.field_warnings, procedure, line.signals.sensors, paired)
    return line.warnings, (*field, *own)
