"""Place the reference on the wearable's clock, by the method the study names."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from twinangle.errors import StudyError, SynchronisationError
from twinangle.pipeline.reading import TrialSignals
from twinangle.recording import AngleRecording, Interval, JointMotion, Synchronisation
from twinangle.reference.goniometer import zero_at_standing
from twinangle.study import Study, Trial
from twinangle.synchronise import (
    event,
    find_events,
    manual,
    shared_clock,
    synchronise,
    trigger,
)


def place_reference(
    study: Study, trial: Trial, signals: TrialSignals, motion: JointMotion
) -> tuple[Synchronisation | None, AngleRecording | None]:
    """Return the reference's clock and its angle; both None for a trial without a reference.

    Raises
    ------
    SynchronisationError
        If the clocks cannot be brought together with the certainty asked for.
    StudyError
        If the reference is to be zeroed at neutral standing and did not record it.
    """
    reference = signals.reference
    if reference is None:
        return None, None
    clock = _clock(study, signals, motion, reference)
    if getattr(study.reference, "zero_at_standing", False):
        reference, note = _zeroed(reference, clock, trial)
        clock = replace(clock, warnings=(*clock.warnings, note))
    return clock, reference


def _clock(
    study: Study, signals: TrialSignals, motion: JointMotion, reference: AngleRecording
) -> Synchronisation:
    settings = study.synchronisation
    if settings.method == "shared-clock":
        return shared_clock()
    if settings.method == "manual":
        return manual(settings.lag_s or 0.0, settings.drift_ppm or 0.0)
    if settings.method == "trigger":
        if signals.wearable_trigger is None or signals.reference_trigger is None:
            raise SynchronisationError(
                "method 'trigger' needs a trigger channel in both files: give "
                "`wearable_trigger` and `reference_trigger` in [synchronisation]."
            )
        return trigger(
            signals.wearable_trigger,
            signals.reference_trigger,
            drift=settings.drift,
            max_lag_s=settings.max_lag_s,
        )
    if settings.method == "event":
        return event(
            motion.angle,
            reference,
            _events(signals, settings.events_s),
            max_lag_s=settings.max_lag_s,
            drift=settings.drift,
        )
    return synchronise(
        motion.angle,
        reference,
        max_lag_s=settings.max_lag_s,
        expected_lag_s=settings.expected_lag_s,
        drift=settings.drift,
    )


def _events(
    signals: TrialSignals, given: tuple[tuple[float, float], ...] | None
) -> tuple[Interval, ...]:
    """Return the stretches that hold the events: as given, or found by their impact."""
    if given is not None:
        return tuple(Interval(start_s, end_s) for start_s, end_s in given)
    if signals.sensors is None:
        raise SynchronisationError(
            "method 'event' finds events by their impact in the accelerometer, which this "
            "wearable does not deliver: give `events_s`, the stretches that hold them, in "
            "[synchronisation]."
        )
    return find_events(signals.sensors.distal)


def _zeroed(
    reference: AngleRecording, clock: Synchronisation, trial: Trial
) -> tuple[AngleRecording, str]:
    """Return the reference with its mean over neutral standing taken off, and a note of it."""
    if not isinstance(trial.static, Interval):
        raise StudyError(
            "[reference] zero_at_standing: neutral standing lies in no stretch of this recording "
            "(`static_start_s`, `static_end_s`), so the reference did not record it."
        )
    start_s, end_s = clock.to_reference(np.array([trial.static.start_s, trial.static.end_s]))
    zeroed, removed_deg = zero_at_standing(reference, Interval(float(start_s), float(end_s)))
    note = (
        f"{reference.source}: zeroed at neutral standing as [reference] zero_at_standing asks; "
        f"{removed_deg:.2f}° were subtracted, and the offset is without them."
    )
    return zeroed, note
