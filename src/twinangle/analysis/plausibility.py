"""The physical tests of one trial: which run when, and what they do to it."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from functools import partial

from twinangle.analysis.clock_of_part import seen_by_both
from twinangle.analysis.reading import TrialSignals, read_trial
from twinangle.errors import TwinangleError
from twinangle.plausibility.amplitude import reference_amplitude
from twinangle.plausibility.bursts import reference_bursts
from twinangle.plausibility.channels import saturated_channels
from twinangle.plausibility.evidence import Evidence, Test
from twinangle.plausibility.fit import reference_fit
from twinangle.plausibility.frame import frame
from twinangle.plausibility.frozen import frozen_sensors
from twinangle.plausibility.gravity import gravity
from twinangle.plausibility.magnetometer import magnetometer
from twinangle.plausibility.mirror import mirror
from twinangle.plausibility.mounting import Mounting, mounting_steps, mountings
from twinangle.plausibility.offset import reference_offset
from twinangle.plausibility.order import order
from twinangle.plausibility.outcome import Outcome
from twinangle.plausibility.sensor_time import sensors_times
from twinangle.plausibility.standing_file import standing_file
from twinangle.plausibility.stood_still import quiet_standing
from twinangle.plausibility.yaw import yaw
from twinangle.signals.recording import Interval, PairedAngles, SensorPair, Synchronisation
from twinangle.study import Study, Trial

OF_THE_SENSORS: tuple[Test, ...] = (
    saturated_channels,
    frozen_sensors,
    frame,
    gravity,
    order,
    yaw,
    sensors_times,
    mirror,
    magnetometer,
    quiet_standing,
    standing_file,
    mounting_steps,
)
"""Run on the raw sensors before anything is computed from them."""
OF_BOTH_INSTRUMENTS: tuple[Test, ...] = (
    reference_fit,
    reference_amplitude,
    reference_offset,
    reference_bursts,
)
"""Run when the reference is on the wearable's clock."""


class ContradictionError(TwinangleError):
    """The recording contradicts itself; the message names the cause.

    Parameters
    ----------
    outcomes : tuple of Outcome
        Every test that ran, those that contradict among them.
    """

    def __init__(self, outcomes: tuple[Outcome, ...]) -> None:
        self.outcomes = outcomes
        super().__init__(" ".join(_told(outcomes, "contradicted")))


def examine_sensors(study: Study, trial: Trial, signals: TrialSignals) -> tuple[Outcome, ...]:
    """Hold a trial's raw sensors against each other.

    Raises
    ------
    ContradictionError
        If a test finds a contradiction.
    """
    return _examine(OF_THE_SENSORS, _evidence(study, trial, signals))


def examine_instruments(
    study: Study,
    trial: Trial,
    signals: TrialSignals,
    clock: Synchronisation | None,
    paired: PairedAngles,
    before: tuple[Outcome, ...],
) -> tuple[Outcome, ...]:
    """Hold the reference against the sensors; `before` is what the sensors alone had told.

    Raises
    ------
    ContradictionError
        If a test finds a contradiction.
    """
    return _examine(OF_BOTH_INSTRUMENTS, _evidence(study, trial, signals, clock, paired), before)


def mountings_of(study: Study, trial: Trial, signals: TrialSignals) -> tuple[Mounting, ...]:
    """Return how the trial's sensors sit on their segments, to be held against other trials'."""
    return mountings(_evidence(study, trial, signals))


def doubts(outcomes: tuple[Outcome, ...]) -> tuple[str, ...]:
    """Return what is doubtful, as warnings."""
    return _told(outcomes, "doubtful")


def _evidence(
    study: Study,
    trial: Trial,
    signals: TrialSignals,
    clock: Synchronisation | None = None,
    paired: PairedAngles | None = None,
) -> Evidence:
    trial = seen_by_both(trial, clock)
    static = trial.static if isinstance(trial.static, Interval) else None
    functional = trial.functional if isinstance(trial.functional, Interval) else None
    return Evidence(
        sensors=signals.sensors,
        within=_stretches(trial, static, functional),
        reference=signals.reference,
        clock=clock,
        paired=paired,
        static=static,
        functional=functional,
        joint=study.joint,
        standing=signals.standing,
        whole=partial(_whole, study, trial) if signals.sensors is not None else None,
    )


def _whole(study: Study, trial: Trial) -> SensorPair | None:
    """Return the sensors over the whole file; None where no more can be had than is analysed."""
    if trial.start_s is None and trial.end_s is None:
        return None
    with suppress(TwinangleError, OSError):
        return read_trial(study, replace(trial, start_s=None, end_s=None)).sensors
    return None


def _stretches(
    trial: Trial, static: Interval | None, functional: Interval | None
) -> tuple[Interval, ...]:
    """Return what a trial with limits of its own rests on; none where it has no limits."""
    if trial.start_s is None and trial.end_s is None:
        return ()
    first = float("-inf") if trial.start_s is None else trial.start_s
    last = float("inf") if trial.end_s is None else trial.end_s
    return tuple(part for part in (Interval(first, last), static, functional) if part is not None)


def _examine(
    tests: tuple[Test, ...], evidence: Evidence, before: tuple[Outcome, ...] = ()
) -> tuple[Outcome, ...]:
    found = (*before, *(outcome for test in tests for outcome in test(evidence)))
    if any(outcome.verdict == "contradicted" for outcome in found):
        raise ContradictionError(found)
    return found


def _told(outcomes: tuple[Outcome, ...], verdict: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(each.told for each in outcomes if each.verdict == verdict))
