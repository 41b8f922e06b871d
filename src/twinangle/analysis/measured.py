"""What is measured in one recording: all that no confidence enters, kept from run to run."""

from __future__ import annotations

from collections.abc import Iterator, MutableMapping
from dataclasses import dataclass

from twinangle.clocks import GyroscopeLag, StepTold, StepWarned
from twinangle.notices import kind_of
from twinangle.plausibility.outcome import Outcome
from twinangle.results import Absent, TrialResult
from twinangle.signals.recording import Synchronisation
from twinangle.study import Trial


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One trial under one procedure before intervals, and what is judged with or by curves.

    Parameters
    ----------
    result : TrialResult
        Without them; a failed one is whole but for what its clock warns of.
    angle_clock : Synchronisation, optional
        The clock that the gyroscopes' lag was held against; None without a clock.
    gyroscopes : GyroscopeLag, Absent or None
        That lag, the interval of its difference left open.
    told_before, told_after : tuple of str
        The result's warnings before and after those of its clock.
    undecided : Measured, optional
        The same without decisions on cycles, where there are any.
    lasting : bool
        False where it failed for a reason that may be gone at the next try, such as a file that
        could not be read or memory that ran out. What fails by its numbers fails again.
    """

    result: TrialResult
    angle_clock: Synchronisation | None = None
    gyroscopes: GyroscopeLag | Absent | None = None
    told_before: tuple[str, ...] = ()
    told_after: tuple[str, ...] = ()
    undecided: Measured | None = None
    lasting: bool = True


Measurements = MutableMapping[str, tuple[Measured, ...]]
"""What has been measured in one recording, by the name of the pair of instruments, if it has one;
each is one a procedure."""


def may_be_kept(measured: Measurements) -> bool:
    """Return whether all of it is the same when it is read again.

    What tells of a step of the clock forgets that step, and several instruments are asked by it
    whose clock stepped.
    """
    return lasts(measured) and not any(
        isinstance(text, StepWarned | StepTold)
        for each in _each(measured)
        for text in (
            each.result.reason, *each.told_before, *each.told_after, *_of_the_clock(each)
        )
    )  # fmt: skip


def lasts(measured: Measurements) -> bool:
    """Return whether nothing of it failed for a reason that may be gone at the next try."""
    return all(each.lasting for each in _each(measured))


def _each(measured: Measurements) -> Iterator[Measured]:
    for several in measured.values():
        for one in several:
            yield one
            if one.undecided is not None:
                yield one.undecided


def _of_the_clock(one: Measured) -> tuple[str, ...]:
    clock = one.result.synchronisation
    return () if clock is None else clock.warnings


def ended(
    trial: Trial,
    procedure: str,
    status: str,
    reason: str,
    tested: tuple[Outcome, ...] = (),
) -> TrialResult:
    """Return a trial's result without any number."""
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


def after_known(known: tuple[str, ...], reason: str) -> str:
    """Put what is known of the recording before what failed later, which may come of it."""
    of_a_step = isinstance(reason, StepTold)  # which says itself where the clock steps, and why
    known = tuple(
        text
        for text in known
        if text not in reason and not (of_a_step and kind_of(text) == "clock-step")
    )
    if not known:
        return reason
    before = f"{' '.join(known)} This may be why: "
    return StepTold(reason.found, before) if isinstance(reason, StepTold) else before + reason
