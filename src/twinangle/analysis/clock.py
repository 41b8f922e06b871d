"""Place the reference on the wearable's clock, by the method the study names.

What needs a confidence is told apart, by :func:`with_clock_warnings`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from twinangle.analysis.analysed_part import synchronised_sensors
from twinangle.analysis.clock_of_part import (
    by_part_alone,
    by_stamps,
    clock_by_angles,
    lost_in_part,
    seen_by_both,
)
from twinangle.analysis.reading import TrialSignals
from twinangle.clocks import (
    GyroscopeLag,
    by_gyroscopes,
    drift_interval,
    event,
    find_events,
    held_against,
    lag_by_trigger,
    lag_without_interval,
    manual,
    shared_clock,
    synchronise,
)
from twinangle.errors import StudyError, SynchronisationError
from twinangle.notices import Notice
from twinangle.options import Options
from twinangle.reference.goniometer import zero_at_standing
from twinangle.results import Absent
from twinangle.signals.recording import AngleRecording, Interval, JointMotion, Synchronisation
from twinangle.study import Study, Trial
from twinangle.thresholds import told_apart

UNUSUAL_DRIFT_PPM = 250.0
"""Of two clocks against each other, warned of above; common practice, no source."""


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
    try:
        clock = _steady_clock(study, trial, signals, motion, reference)
    except SynchronisationError as error:
        raise by_stamps(error, signals.breaks) from None
    if getattr(study.reference, "zero_at_standing", False):
        reference, note = _zeroed(reference, clock, seen_by_both(trial, clock))
        clock = replace(clock, warnings=(*clock.warnings, note))
    return clock, reference


def take_gyroscopes(
    study: Study,
    trial: Trial,
    signals: TrialSignals,
    reference: AngleRecording | None,
    clock: Synchronisation | None,
) -> tuple[Synchronisation | None, GyroscopeLag | Absent | None]:
    """Find the lag by the gyroscopes too, and take it where the study asks for it.

    Returns
    -------
    clock : Synchronisation or None
        With the gyroscopes' lag where that is asked for.
    found : GyroscopeLag, Absent or None
        What they give, the interval left open, or why they give none; None without raw sensors or
        without a reference.

    Raises
    ------
    SynchronisationError
        If the study asks for the gyroscopes' lag and it cannot be had.
    """
    wanted = _gyroscopes_wanted(study)
    if clock is None or reference is None:
        return clock, None
    if signals.sensors is None:
        if wanted:
            raise SynchronisationError(
                "[synchronisation] signal = 'gyroscope' needs the raw gyroscopes of both sensors, "
                "which this wearable does not deliver."
            )
        return clock, None
    try:
        counted = synchronised_sensors(trial, signals.sensors, part_alone=by_part_alone(clock))
        found = lag_without_interval(counted, reference, clock)
    except SynchronisationError as error:
        if wanted:
            raise
        text = f"the lag could not be checked by the gyroscopes: {error}"
        note = Notice(text, "lag-not-checked", "note")
        return replace(clock, warnings=(*clock.warnings, note)), Absent(str(error))
    return (by_gyroscopes(clock, found) if wanted else clock), found


def with_clock_warnings(
    study: Study,
    clock: Synchronisation,
    angle_clock: Synchronisation,
    found: GyroscopeLag | Absent | None,
) -> tuple[Synchronisation, GyroscopeLag | Absent | None]:
    """Hold a drift against what clocks do and the lag against that of the gyroscopes.

    Parameters
    ----------
    study : Study
        The settings, the confidence among them.
    clock : Synchronisation
        The one that the recording is analysed on.
    angle_clock : Synchronisation
        The one that the gyroscopes' lag was held against.
    found : GyroscopeLag, Absent or None
        What :func:`take_gyroscopes` returned.

    Returns
    -------
    clock : Synchronisation
        With a warning where a drift is unusual or the two lags disagree.
    found : GyroscopeLag, Absent or None
        With the interval of the difference.
    """
    told: tuple[str, ...] = ()
    if _drift_is_found(study):
        told = unusual_drift(angle_clock, study.options)
    if isinstance(found, GyroscopeLag):
        found = held_against(angle_clock, found, confidence=study.options.confidence)
        told = (*told, *_lags_disagree(angle_clock, found, wanted=_gyroscopes_wanted(study)))
        found = replace(found, lag_df=float("nan"))  # as it is read back
    return replace(clock, warnings=(*clock.warnings, *told)) if told else clock, found


def _drift_is_found(study: Study) -> bool:
    """Whether the drift is found from the recording: one that is stated stands."""
    return study.synchronisation.method not in ("manual", "shared-clock")


def _gyroscopes_wanted(study: Study) -> bool:
    return study.synchronisation.signal == "gyroscope"


def _lags_disagree(clock: Synchronisation, found: GyroscopeLag, *, wanted: bool) -> tuple[str, ...]:
    """Return a warning where the lag differs from that of the gyroscopes."""
    if not found.disagree:
        return ()
    known = clock.method in ("shared-clock", "manual", "trigger")
    late = "delays it" if found.difference_s > 0 else "runs ahead of the sensors"
    meaning = (
        "The instruments differ by a delay, or `gyroscope_sample` or the clock is stated wrongly."
        if known
        else f"The procedure that computes the angle {late}."
    )
    effect = (
        "The lag is the gyroscopes', so the delay is part of the difference reported."
        if wanted
        else 'The lag is the angle\'s, so the RMS does not show the delay; `signal = "gyroscope"` '
        "in [synchronisation] leaves it in."
    )
    held = "lag as stated" if known else "lag from the angle"
    text = f"{found.summary(held)}. {meaning}" + ("" if known else f" {effect}")
    return (Notice(text, "lags-disagree", size=abs(found.difference_s)),)


def _steady_clock(
    study: Study,
    trial: Trial,
    signals: TrialSignals,
    motion: JointMotion,
    reference: AngleRecording,
) -> Synchronisation:
    """Return the clock, refusing one that drifts too far and a lag that steps."""
    clock = _clock(study, trial, signals, motion, reference)
    if _drift_is_found(study):
        refuse_drift(clock, max_drift_ppm=study.synchronisation.max_drift_ppm)
    if study.synchronisation.method != "cross-correlation":  # which looks for itself
        lost = lost_in_part(trial, motion.angle, reference, clock)
        if lost:
            raise SynchronisationError(lost)
    return clock


def _clock(
    study: Study,
    trial: Trial,
    signals: TrialSignals,
    motion: JointMotion,
    reference: AngleRecording,
) -> Synchronisation:
    settings = study.synchronisation
    if settings.method == "shared-clock":
        return shared_clock()
    if settings.method == "manual":
        unknown = float("nan")
        return manual(
            settings.lag_s or 0.0,
            settings.drift_ppm or 0.0,
            lag_se_s=settings.lag_se_s or unknown,
            drift_se_ppm=settings.drift_se_ppm or unknown,
        )
    if settings.method == "trigger":
        if signals.wearable_trigger is None or signals.reference_trigger is None:
            raise SynchronisationError(
                "method 'trigger' needs a trigger channel in both files: give "
                "`wearable_trigger` and `reference_trigger` in [synchronisation]."
            )
        return lag_by_trigger(
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
    search = partial(
        synchronise,
        reference=reference,
        max_lag_s=settings.max_lag_s,
        expected_lag_s=settings.expected_lag_s,
        drift=settings.drift,
    )
    return clock_by_angles(trial, motion.angle, search)


def refuse_drift(clock: Synchronisation, *, max_drift_ppm: float) -> None:
    """Refuse a drift beyond what clocks do.

    Two crystals part by 50 ppm or so, resonators by some hundred; a sampling rate that is not the
    one stated parts by thousands.

    Raises
    ------
    SynchronisationError
        If the drift is larger than `max_drift_ppm`.
    """
    if abs(clock.drift_ppm) > max_drift_ppm:
        found, most = told_apart(abs(clock.drift_ppm), max_drift_ppm, 0)
        raise SynchronisationError(
            f"the clocks drift by {found} ppm ({1e-3 * 60 * abs(clock.drift_ppm):.1f} ms a "
            f"minute), more than {most}: no two clocks do that. A sampling rate is stated wrongly "
            f"({_rates(clock)}), or the files are not of one recording. Where a device's clock is "
            "known to run so far off, state `max_drift_ppm` in [synchronisation]."
        )


def unusual_drift(clock: Synchronisation, options: Options) -> tuple[str, ...]:
    """Return a warning where the whole interval of the drift lies beyond what crystals do."""
    interval = drift_interval(clock, confidence=options.confidence)
    if interval is None or max(interval.start_s, -interval.end_s) <= UNUSUAL_DRIFT_PPM:
        return ()
    nearest = min(abs(interval.start_s), abs(interval.end_s))
    least, limit = told_apart(nearest, UNUSUAL_DRIFT_PPM, 0)
    text = (
        f"the clocks drift by {clock.drift_ppm:+.0f} ppm, by {least} ppm at least (the end of the "
        f"interval), above {limit} ppm: crystals hardly do that. "
        f"Check the sampling rates ({_rates(clock)})."
    )
    return (Notice(text, "unusual-drift", "grave", abs(clock.drift_ppm)),)


def _rates(clock: Synchronisation) -> str:
    """Say what the drift means for the rates as they are stated."""
    reference = 1 - clock.drift_ppm * 1e-6
    return (
        f"the reference's would be {reference:.4f} times what it says, or the wearable's "
        f"{1 / reference:.4f} times; which of the two is not told by the pair"
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
    return zeroed, Notice(note, "zeroed-at-standing", "note")
