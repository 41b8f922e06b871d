"""The clock of the analysed part, where the functional movement lies outside it.

Functional movement before `start_s` or after `end_s` is kept for calibration, and it helps to tell
one stride from another. Where the lag steps between it and the analysed part it lies on another
clock, which is what two rows for the two sides of a step are written for: the clock is then that
of the analysed part alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from twinangle.analysis.analysed_part import analysed, only_analysed, synchronised_angle
from twinangle.clocks import Stepped, StepTold, StepWarned, lost_samples
from twinangle.clocks.steps import LEAST_STEP_S
from twinangle.errors import SynchronisationError
from twinangle.notices import Notice, kind_of
from twinangle.signals.recording import AngleRecording, Interval, Synchronisation
from twinangle.signals.timing import Breaks
from twinangle.study import Trial

OTHER_CLOCK = "functional-on-another-clock"


def clock_by_angles(
    trial: Trial, angle: AngleRecording, search: Callable[[AngleRecording], Synchronisation]
) -> Synchronisation:
    """Find the clock from what is analysed, and the functional movement if it is of one clock.

    Parameters
    ----------
    trial : Trial
        With its limits, calibration stretches and mask.
    angle : AngleRecording
        The wearable's.
    search : callable
        From an angle to its clock with the reference.

    Returns
    -------
    Synchronisation
        With a notice where the functional movement was left out.

    Raises
    ------
    SynchronisationError
        As `search`; and where functional movement and analysed part lie half a stride apart.
    """
    try:
        clock = search(synchronised_angle(trial, angle))
    except SynchronisationError as error:
        found = _step_of(error, trial)
        if found is None or not _outside(found, trial):
            raise _of_the_file(error, trial) from None
        return _of_part(trial, found, angle, search)
    steps = [text.found for text in clock.warnings if isinstance(text, StepWarned)]
    if not steps or not _outside(steps[0], trial):
        return clock
    return _of_part(trial, steps[0], angle, search)


def lost_in_part(
    trial: Trial, angle: AngleRecording, reference: AngleRecording, clock: Synchronisation
) -> str:
    """Say where the lag steps on a clock found otherwise than from the angles; empty if nowhere.

    A step between the functional movement and the analysed part counts only where the clock is not
    that of the part, or where it may be the other side's.
    """
    lost = lost_samples(synchronised_angle(trial, angle), reference, clock)
    if not isinstance(lost, StepTold):
        return lost
    found = lost.found.beside(_left_out(trial))
    if _outside(found, trial):
        if found.half_a_stride():
            return _other_side(found, trial)
        in_part = lost_samples(only_analysed(trial, angle), reference, clock)
        if in_part:
            return in_part
        _, of_part = _lags(found, trial)
        at_step = np.array([found.step.time_s])
        if abs(of_part - float((at_step - clock.to_reference(at_step))[0])) < LEAST_STEP_S:
            return ""
    return StepTold(found, lost.before)


def by_stamps(error: SynchronisationError, breaks: tuple[Breaks, Breaks]) -> SynchronisationError:
    """Return an error that tells of a step with the gaps as they stand in the two files' times."""
    told = error.args[0] if error.args else ""
    if not isinstance(told, StepTold):
        return error
    return SynchronisationError(StepTold(told.found.by_stamps(breaks), told.before))


def by_part_alone(clock: Synchronisation) -> bool:
    """Whether the functional movement was left out of the search for a clock."""
    return any(kind_of(text) == OTHER_CLOCK for text in clock.warnings)


def seen_by_both(trial: Trial, clock: Synchronisation | None) -> Trial:
    """Return the trial with the calibration stretches that the reference recorded on its clock.

    Where the functional movement lies on another clock it is none, and of a neutral standing beside
    the analysed part what is nearer to its ends than the two clocks are apart is left out.
    """
    apart_s = [text.size for text in clock.warnings if isinstance(text, Notice)
               and text.kind == OTHER_CLOCK] if clock is not None else []  # fmt: skip
    if not apart_s:
        return trial
    part, static = analysed(trial), trial.static
    if isinstance(static, Interval) and part is not None:
        inside = part.start_s <= static.start_s and static.end_s <= part.end_s
        first_s, last_s = static.start_s + apart_s[0], static.end_s - apart_s[0]
        if not inside:
            static = Interval(first_s, last_s) if first_s < last_s else None
    functional = None if isinstance(trial.functional, Interval) else trial.functional
    return replace(trial, static=static, functional=functional)


def _of_part(
    trial: Trial,
    found: Stepped,
    angle: AngleRecording,
    search: Callable[[AngleRecording], Synchronisation],
) -> Synchronisation:
    """Return the clock of the analysed part alone, and say so."""
    if found.half_a_stride():  # first: what walks half a stride off fits at no lag
        raise SynchronisationError(_other_side(found, trial))
    before_s, after_s = _lags(found, trial)
    where = (
        f"the functional movement {_where(found, trial)} lies on another clock than what is "
        f"analysed: by it the lag is {before_s:+.3f} s"
    )
    try:
        clock = search(only_analysed(trial, angle))
    except SynchronisationError as error:
        if _step_of(error, trial) is not None:
            raise _of_the_file(error, trial) from None
        raise SynchronisationError(
            f"{where}, by what is analysed {after_s:+.3f} s. So the clock was looked for in what "
            f"is analysed alone, and there: {error}"
        ) from None
    text = (
        f"{where}, by what is analysed {after_s:+.3f} s. The clock is that of what is analysed; "
        "the functional movement was used for calibration alone."
    )
    told = Notice(text, OTHER_CLOCK, "note", abs(after_s - before_s))
    return replace(clock, warnings=(told, *clock.warnings))


def _other_side(found: Stepped, trial: Trial) -> str:
    """Say that functional movement and walk lie half a stride apart, and what then."""
    functional_s, part_s = _lags(found, trial)
    return (
        f"{' and '.join(found.sources)}: by the functional movement {_where(found, trial)} the "
        f"lag between them is {functional_s:+.3f} s, by what is analysed {part_s:+.3f} s. "
        f"{found.half_a_stride()}the clock was set anew in between: leave the functional movement "
        "out of this row (`functional_start_s`, `functional_end_s`), so that the clock is that of "
        "what is analysed, and the axis found from it."
    )


def _step_of(error: SynchronisationError, trial: Trial) -> Stepped | None:
    """Return the step that an error tells of, without gaps that the row itself makes."""
    told = error.args[0] if error.args else ""
    return told.found.beside(_left_out(trial)) if isinstance(told, StepTold) else None


def _of_the_file(error: SynchronisationError, trial: Trial) -> SynchronisationError:
    """Return the error with a step's gaps being those of the files alone."""
    found = _step_of(error, trial)
    if found is None:
        return error
    return SynchronisationError(StepTold(found, error.args[0].before))


def _left_out(trial: Trial) -> tuple[Interval, ...]:
    """Return what the row itself leaves out of the search for a clock."""
    part, functional = analysed(trial), trial.functional
    masked = tuple(Interval(one.start_s, one.end_s) for one in trial.mask)
    if part is None or not isinstance(functional, Interval):
        return masked
    between = (min(part.end_s, functional.end_s), max(part.start_s, functional.start_s))
    return (*masked, Interval(*between)) if between[0] < between[1] else masked


def _outside(found: Stepped, trial: Trial) -> bool:
    """Whether the step may lie outside the analysed part, in or beside the functional movement."""
    part, functional = analysed(trial), trial.functional
    if part is None or not isinstance(functional, Interval):
        return False
    before = functional.start_s < part.start_s and found.step.first_s <= part.start_s
    behind = functional.end_s > part.end_s and found.step.last_s >= part.end_s
    return before or behind


def _is_before(found: Stepped, trial: Trial) -> bool:
    part = analysed(trial)
    return part is not None and found.step.first_s <= part.start_s


def _lags(found: Stepped, trial: Trial) -> tuple[float, float]:
    """Return the lag of the functional movement and that of the analysed part."""
    lags = (found.step.before_s, found.step.after_s)
    return lags if _is_before(found, trial) else lags[::-1]


def _where(found: Stepped, trial: Trial) -> str:
    return "before `start_s`" if _is_before(found, trial) else "after `end_s`"
