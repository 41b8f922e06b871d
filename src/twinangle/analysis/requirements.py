"""What a recording has to fulfil before anything is computed; `check` and a run ask alike."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from twinangle.analysis.file_facts import FileFacts, most_overlap, overlap_s
from twinangle.analysis.reading import TrialSignals
from twinangle.clocks import lag_by_trigger
from twinangle.errors import StudyError, SynchronisationError, TwinangleError
from twinangle.signals.recording import Interval
from twinangle.study import (
    InertialWearable,
    OrientationWearable,
    Study,
    SynchronisationSettings,
    Trial,
)
from twinangle.study.overrides_table import read_overrides
from twinangle.thresholds import told_apart
from twinangle.wearable.procedure_input import slice_samples
from twinangle.wearable.procedures import PROCEDURES, needs_magnetometers

LEAST_S = 1.0  # of an overlap


def require_fit(study: Study, trial: Trial, signals: TrialSignals) -> None:
    """Refuse a recording of which it is known, without computing, that it will be refused.

    Raises
    ------
    StudyError
        With every fault, one after the other.
    """
    faults = trial_faults(study, trial, signals)
    if faults:
        raise StudyError(" ".join(faults))


def trial_faults(study: Study, trial: Trial, signals: TrialSignals) -> tuple[str, ...]:
    """Return everything at fault with a trial whose files could be read.

    Parameters
    ----------
    study : Study
        The settings, those of this trial among them.
    trial : Trial
        One row of the trials table.
    signals : TrialSignals
        As read.
    """
    faults = []
    for test in (_parts_inside, _standing, _clock, _overlap, _by_hand):
        try:
            test(study, trial, signals)
        except TwinangleError as error:
            faults.append(str(error))
    return tuple(faults)


def settings_faults(study: Study) -> Iterator[str]:
    """Yield what no recording can mend: a procedure for which the study declares no signals."""
    wearable = study.wearable
    if isinstance(wearable, OrientationWearable):
        for procedure in wearable.procedures:
            if procedure in PROCEDURES and procedure != "orientation":
                yield (
                    f"{study.path.name}: [wearable] `procedures`: {procedure!r} takes raw signals, "
                    "and a wearable of kind 'orientation' delivers none; accepted: 'orientation'."
                )
    if not isinstance(wearable, InertialWearable):
        return
    sensors = (("proximal", wearable.proximal), ("distal", wearable.distal))
    without = [name for name, sensor in sensors if sensor.magnetometer is None]
    for procedure in wearable.procedures:
        if without and needs_magnetometers(procedure):
            declare = " and ".join(f"[wearable.{name}]" for name in without)
            yield (
                f"{study.path.name}: [wearable] `procedures`: {procedure!r} needs magnetometers; "
                f"declare `magnetometer` in {declare}, or choose a procedure that needs none, such "
                "as 'kalman-joint-centre'."
            )


def _file(signals: TrialSignals, role: str) -> FileFacts | None:
    return next((file for file in signals.files if file.role == role), None)


def _wearable(signals: TrialSignals) -> FileFacts:
    file = _file(signals, "wearable")
    assert file is not None
    return file


def _parts_inside(_: Study, trial: Trial, signals: TrialSignals) -> None:
    """Refuse neutral standing or a functional movement outside the recording."""
    file = _wearable(signals)
    for part, name in ((trial.static, "static"), (trial.functional, "functional")):
        if isinstance(part, Interval):
            slice_samples(file.start_s, file.rate_hz, file.n_samples, part, name)


def _standing(study: Study, trial: Trial, signals: TrialSignals) -> None:
    """Refuse a zero that is to be taken in standing where standing lies in no stretch."""
    if signals.reference is None or isinstance(trial.static, Interval):
        return
    if getattr(study.reference, "zero_at_standing", False):
        raise StudyError(
            "[reference] zero_at_standing: neutral standing lies in no stretch of this recording "
            "(`static_start_s`, `static_end_s`), so the reference did not record it."
        )
    wanted = getattr(study.wearable, "standing_from_reference", False)
    if wanted and trial.standing_deg is None:
        raise StudyError(
            "[wearable] standing_from_reference: the reference has no value in this trial's "
            "neutral standing. Give a `static` stretch within the recording that both instruments "
            "cover, or state `standing_deg` in the trials table."
        )


def _clock(study: Study, _: Trial, signals: TrialSignals) -> None:
    """Refuse a way of synchronising for which a signal is missing."""
    settings = study.synchronisation
    if signals.reference is None:
        return
    if settings.signal == "gyroscope" and signals.sensors is None:
        raise SynchronisationError(
            "[synchronisation] signal = 'gyroscope' needs the raw gyroscopes of both sensors, "
            "which this wearable does not deliver."
        )
    if settings.method == "trigger":
        _triggers(signals, settings)
    if settings.method == "event":
        _events(signals, settings)


def _triggers(signals: TrialSignals, settings: SynchronisationSettings) -> None:
    if signals.wearable_trigger is None or signals.reference_trigger is None:
        raise SynchronisationError(
            "method 'trigger' needs a trigger channel in both files: give "
            "`wearable_trigger` and `reference_trigger` in [synchronisation]."
        )
    lag_by_trigger(
        signals.wearable_trigger,
        signals.reference_trigger,
        drift=settings.drift,
        max_lag_s=settings.max_lag_s,
    )


def _events(signals: TrialSignals, settings: SynchronisationSettings) -> None:
    if settings.events_s is None:
        if signals.sensors is None:
            raise SynchronisationError(
                "method 'event' finds events by their impact in the accelerometer, which this "
                "wearable does not deliver: give `events_s`, the stretches that hold them, in "
                "[synchronisation]."
            )
        return
    file = _wearable(signals)
    for start_s, end_s in settings.events_s:
        if end_s <= file.start_s or start_s >= file.end_s:
            raise SynchronisationError(
                f"[synchronisation] `events_s`: {start_s:g} to {end_s:g} s lie outside "
                f"{file.source}, which runs from {file.start_s:.6g} to {file.end_s:.6g} s."
            )


def _overlap(study: Study, _: Trial, signals: TrialSignals) -> None:
    """Refuse a pair that does not record at the same time at any lag allowed."""
    wearable, reference = _file(signals, "wearable"), _file(signals, "reference")
    if wearable is None or reference is None:
        return
    low, high = lags_allowed(study.synchronisation)
    together, _lag = most_overlap(wearable, reference, (low, high))
    if together >= LEAST_S:
        return
    remedy = (
        f"If both were started together, write {wearable.start_s - reference.start_s:.1f} into "
        "this recording's row of the trials table, in a column `expected_lag_s`; else about what "
        "is to be added to the reference's times. `max_lag_s` under [synchronisation] widens the "
        "search for all recordings"
        if high > low
        else "Accepted: times on one clock, or a method under [synchronisation] that finds the lag"
    )
    shown, least = told_apart(max(together, 0.0), LEAST_S, 1)
    allowed = f"a lag of {low:g}" if low == high else f"any lag from {low:g} to {high:g}"
    raise SynchronisationError(
        f"{wearable.source} runs from {wearable.start_s:.6g} to {wearable.end_s:.6g} s and "
        f"{reference.source} from {reference.start_s:.6g} to {reference.end_s:.6g} s on its own "
        f"clock: at {allowed} s they record together for {shown} s, and at least "
        f"{least} s are needed. {remedy}."
    )


def lags_allowed(settings: SynchronisationSettings) -> tuple[float, float]:
    """Return the least and the largest lag that the study file lets be found."""
    if settings.method == "shared-clock":
        return 0.0, 0.0
    if settings.method == "manual":
        lag_s = settings.lag_s or 0.0
        return lag_s, lag_s
    middle = settings.expected_lag_s if settings.method == "cross-correlation" else 0.0
    return middle - settings.max_lag_s, middle + settings.max_lag_s


def overlap_line(study: Study, signals: TrialSignals) -> str:
    """Return in words how long a pair records together; empty without a reference."""
    wearable, reference = _file(signals, "wearable"), _file(signals, "reference")
    if wearable is None or reference is None:
        return ""
    low, high = lags_allowed(study.synchronisation)
    if low == high:
        return f"{overlap_s(wearable, reference, low):.1f} s at the stated lag of {low:g} s"
    as_they_stand = max(overlap_s(wearable, reference, 0.0), 0.0)
    most, lag_s = most_overlap(wearable, reference, (low, high))
    if most <= 0:
        said = "at no lag longer"
    elif most - as_they_stand < 0.05:
        said = "no lag makes it longer"
    else:
        said = f"at most {most:.1f} s, if the lag were {lag_s:.4g} s"
    return (
        f"{as_they_stand:.1f} s as the two clocks stand; {said} (the run seeks the lag, from "
        f"{low:g} to {high:g} s)"
    )


def _by_hand(study: Study, trial: Trial, signals: TrialSignals) -> None:
    """Refuse cycles forced in or out at times that the recording does not hold."""
    if trial.stretch is not None:  # they may lie in another one
        return
    file = _wearable(signals)
    for time_s, decision, _ in read_overrides(study, trial):
        if not file.start_s <= time_s <= file.end_s:
            raise override_outside(
                study, (time_s, decision), file.source, (file.start_s, file.end_s)
            )


def override_outside(
    study: Study, override: tuple[float, str], source: str, span_s: tuple[float, float]
) -> StudyError:
    """Return the fault of a cycle forced in or out at a time that the recording does not hold."""
    name = Path(study.cycles.overrides or "").name
    time_s, decision = override
    first, last = span_s
    return StudyError(
        f"{name}: the cycle to {decision} at {time_s:g} s lies outside {source}, "
        f"which runs from {first:.6g} to {last:.6g} s on its own clock."
    )
