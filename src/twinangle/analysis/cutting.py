"""The cycles of one trial, as the study asks for them; and overrides that name none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from twinangle.agreement.exclusion_effect import ExclusionEffect, exclusion_effect
from twinangle.analysis.analysed_part import as_cut
from twinangle.analysis.reading import TrialSignals
from twinangle.cycles import find_cycles
from twinangle.cycles.enough import NOT_THE_MOVEMENT, OUTLIERS, reason_kind
from twinangle.cycles.overrides import resolve
from twinangle.errors import TooFewCyclesError, TwinangleError
from twinangle.signals.recording import CycleSet, Interval, JointMotion, PairedAngles
from twinangle.study import Study, Trial
from twinangle.study.overrides_table import read_overrides


def cut_cycles(
    study: Study, trial: Trial, signals: TrialSignals, motion: JointMotion, paired: PairedAngles
) -> CycleSet:
    """Find, judge and cut the cycles of a trial.

    Raises
    ------
    CycleError
        If too few are kept, or an override names none of them.
    StudyError
        If the table of overrides is at fault.
    """
    row = as_cut(study, trial)
    return find_cycles(
        paired,
        method=study.cycles.method,
        movement=study.cycles.movement,
        turns=study.cycles.turns,
        calibration=calibration_stretches(study, trial),
        sagittal_rate_rad_s=motion.sagittal_rate_rad_s,
        vertical_rate_rad_s=motion.vertical_rate_rad_s,
        start_s=row.start_s,
        end_s=row.end_s,
        events_s=signals.events_s if study.cycles.method == "events" else None,
        overrides=read_overrides(study, trial),
        decided=trial.by_hand.cycles if trial.by_hand is not None else (),
        masked=trial.mask,
        few=True,
        part=trial.stretch is not None,
    )


def cut_undecided(
    study: Study, trial: Trial, signals: TrialSignals, motion: JointMotion, paired: PairedAngles
) -> CycleSet | None:
    """Return the cycles as they are without decisions on them; None where there are none such.

    Raises
    ------
    TooFewCyclesError
        If too few are kept without the decisions.
    """
    if trial.by_hand is None or not trial.by_hand.cycles:
        return None
    bare = replace(trial, by_hand=replace(trial.by_hand, cycles=()))
    return cut_cycles(study, bare, signals, motion, paired)


def calibration_stretches(study: Study, trial: Trial) -> tuple[tuple[str, Interval], ...]:
    """Return the stretches of a recording that are no part of its cycles, by name."""
    if study.cycles.include_calibration:
        return ()
    parts = (("neutral standing", trial.static), ("functional movement", trial.functional))
    return tuple((name, part) for name, part in parts if isinstance(part, Interval))


def override_fault(study: Study, trial: Trial, signals: TrialSignals) -> str:
    """Return what is wrong with the cycles forced in or out of a trial; empty where nothing is.

    A time outside every cycle shows only when the cycles are found, so that they are, by the first
    procedure that yields an angle; a trial without overrides costs nothing. Of a recording that is
    read in stretches those of the first one are looked at.
    """
    overrides = read_overrides(study, trial)
    if trial.stretch is not None:
        overrides = tuple(each for each in overrides if each[0] < trial.stretch.end_s)
    if not overrides:
        return ""
    fault = ""
    for procedure in study.wearable.procedures:
        try:
            motion = signals.motion(procedure)
        except TwinangleError as error:
            fault = fault or str(error)
            continue
        angle = motion.angle
        alone = PairedAngles(angle.angle_deg, None, angle.start_s, angle.rate_hz)
        try:
            cycles = _cut_for_overrides(study, trial, signals, motion, alone)
            resolve(overrides, cycles.start_s, cycles.end_s)
        except TwinangleError as error:
            return str(error)
        return ""
    return fault


def _cut_for_overrides(
    study: Study, trial: Trial, signals: TrialSignals, motion: JointMotion, alone: PairedAngles
) -> CycleSet:
    """Return the cycles; a stretch of a long recording may keep too few of them."""
    try:
        return cut_cycles(study, trial, signals, motion, alone)
    except TooFewCyclesError as error:
        if trial.stretch is not None and isinstance(error.cycles, CycleSet):
            return error.cycles
        raise


def effect_of_exclusions(cycles: CycleSet) -> ExclusionEffect:
    """Return the SD over all cycles of the movement beside that over those kept.

    All are those with whole curves that a rule of judgement or somebody's hand may have left out:
    not calibration, nor what is in a pause or alone.
    """
    kinds = [reason_kind(text) for text in cycles.reason]
    curves = [
        cycles.wearable_deg,
        *([] if cycles.reference_deg is None else [cycles.reference_deg]),
    ]
    counts = np.array([kind not in NOT_THE_MOVEMENT for kind in kinds], dtype=bool)
    for each in curves:
        counts &= np.isfinite(each).all(axis=1)
    outlying = np.array([kind in OUTLIERS for kind in kinds], dtype=bool)
    return exclusion_effect(
        cycles.wearable_deg[counts],
        None if cycles.reference_deg is None else cycles.reference_deg[counts],
        kept=cycles.kept[counts],
        outlying=outlying[counts],
    )
