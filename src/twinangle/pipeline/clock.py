"""Place the reference on the wearable's clock, by the method the study names."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from twinangle.errors import StudyError, SynchronisationError
from twinangle.pipeline.reading import TrialSignals
from twinangle.recording import AngleRecording, Interval, JointMotion, Synchronisation
from twinangle.study import Study, Trial
from twinangle.synchronise import manual, shared_clock, synchronise, trigger


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
        reference = _zeroed(reference, clock, trial)
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
    return synchronise(motion.angle, reference, max_lag_s=settings.max_lag_s, drift=settings.drift)


def _zeroed(reference: AngleRecording, clock: Synchronisation, trial: Trial) -> AngleRecording:
    """Return the reference with its median over neutral standing taken off."""
    if not isinstance(trial.static, Interval):
        raise StudyError(
            "[reference] zero_at_standing: neutral standing lies in no stretch of this recording "
            "(`static_start_s`, `static_end_s`), so the reference did not record it."
        )
    times = clock.to_wearable(reference.time_s)
    standing = (times >= trial.static.start_s) & (times <= trial.static.end_s)
    values = reference.angle_deg[standing]
    if not np.isfinite(values).any():
        raise StudyError(
            f"[reference] zero_at_standing: {reference.source} holds no value between "
            f"{trial.static.start_s:g} and {trial.static.end_s:g} s of the wearable's clock."
        )
    return replace(reference, angle_deg=reference.angle_deg - np.nanmedian(values))
