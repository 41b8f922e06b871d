"""The cycles of one stretch of a long recording, found and judged by the wearable alone.

A reference was there for a part of it: where it is missing, or odd, it takes no stride from daily
life. Only the agreement rests on the cycles that have one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import cast

from twinangle.analysis.cutting import cut_cycles, cut_undecided
from twinangle.analysis.opened import Opened, open_trial, unexpected
from twinangle.analysis.reading import TrialSignals
from twinangle.analysis.requirements import require_fit
from twinangle.analysis.sensor_clocks import clock_warnings
from twinangle.cycles import recut
from twinangle.errors import (
    CycleError,
    OverrideError,
    StudyError,
    TooFewCyclesError,
    TwinangleError,
)
from twinangle.results import TrialResult
from twinangle.signals.recording import CycleSet, JointMotion, PairedAngles
from twinangle.study import Study, Trial


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The cycles of one stretch.

    Parameters
    ----------
    cycles : dict of str to CycleSet, str or None
        Each procedure's; None where nobody walked, or what is wrong.
    undecided : CycleSet, optional
        The same cycles as they are without decisions on them; None where there are none such.
    """

    cycles: dict[str, CycleSet | str | None]
    undecided: CycleSet | None = None


def cycles_of(study: Study, trial: Trial, *, two_files: bool) -> Found:
    """Return each procedure's cycles of a stretch behind the first.

    Parameters
    ----------
    study : Study
        The settings.
    trial : Trial
        The row with the stretch for its recording.
    two_files : bool
        Whether it was merged of two sensors' files, whose clocks then are looked at.
    """
    return _attempt(study, trial, None, two_files=two_files)


def cycles_of_first(
    study: Study, trial: Trial, base: tuple[TrialResult, ...], opened: Opened | None
) -> Found:
    """Return each procedure's cycles of the first stretch, whatever its reference lacks.

    Parameters
    ----------
    study : Study
        The settings.
    trial : Trial
        The row with the first stretch for its recording.
    base : tuple of TrialResult
        What came of it with the reference: the angles of those that have one are taken from there.
    opened : Opened, optional
        The stretch as it was read for that; None where it could not be, which may be for the
        reference's file.
    """
    found = _attempt(study, replace(trial, reference=None), opened, two_files=False)
    for result in base:
        cycles = found.cycles.get(result.procedure)
        if result.paired is not None and isinstance(cycles, CycleSet):
            alone = replace(result.paired, reference_deg=None)
            found.cycles[result.procedure] = recut(cycles, alone, few=True)
    return found


def _attempt(study: Study, trial: Trial, opened: Opened | None, *, two_files: bool) -> Found:
    names = study.wearable.procedures
    try:
        return _cut(study, trial, opened or open_trial(study, trial), two_files=two_files)
    except OverrideError:
        raise  # of the whole recording, not of this stretch
    except TwinangleError as error:
        return Found(dict.fromkeys(names, str(error)))
    except Exception as error:
        return Found(dict.fromkeys(names, unexpected(error)))


def _cut(study: Study, trial: Trial, opened: Opened, *, two_files: bool) -> Found:
    signals = _without_reference(opened.signals)
    require_fit(study, trial, signals)
    opened.tested(study, trial)
    if two_files and signals.sensors is not None and (told := clock_warnings(signals.sensors)):
        raise StudyError(told[0])
    found: dict[str, CycleSet | str | None] = {}
    shared: CycleSet | None = None
    undecided: CycleSet | None = None
    for name, motion in opened.motions(study.wearable.procedures).items():
        if not isinstance(motion, JointMotion):
            found[name] = motion
            continue
        angle = motion.angle
        alone = PairedAngles(angle.angle_deg, None, angle.start_s, angle.rate_hz)
        if shared is None:
            shared = _few_or_none(cut_cycles, study, trial, signals, motion, alone)
            if shared is None:  # nobody walked
                return Found(dict.fromkeys(study.wearable.procedures))
            undecided = _few_or_none(cut_undecided, study, trial, signals, motion, alone)
        found[name] = recut(shared, alone, few=True)
    return Found(found, undecided)


def _few_or_none(cut: Callable[..., CycleSet | None], *asked: object) -> CycleSet | None:
    """Return the cycles, also where too few are kept; None where there are none."""
    try:
        return cut(*asked)
    except TooFewCyclesError as error:
        return cast("CycleSet | None", error.cycles)
    except OverrideError:
        raise
    except CycleError:
        return None


def _without_reference(signals: TrialSignals) -> TrialSignals:
    files = tuple(file for file in signals.files if file.role != "reference")
    return replace(signals, reference=None, reference_trigger=None, files=files)
