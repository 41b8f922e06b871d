"""Gyroscope against accelerometer, and both against the magnetometer: whether they are one frame.

In every window the specific force is turned back by the gyroscope to the window's start, where
gravity stands still. Each of the 48 ways to assign the gyroscope's channels to axes gives a
scatter; where another assignment scatters less than the given one by a factor, the given one is
wrong. The same with the magnetic field says which of the instruments it is. Our own; the limits are
set by `benchmarks/plausibility.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from twinangle.plausibility.axes import as_columns, changed, in_words, up_to_sign
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.outcome import Outcome, Subject, Verdict, not_tested
from twinangle.plausibility.turned_back import SIGNED, scatter_by_mapping
from twinangle.signals.recording import Array, InertialRecording
from twinangle.thresholds import told_apart

TEST = "frame"
WINDOW_S = 4.0
REFUSED, WARNED = 2.0, 1.5
"""Scatter of the given assignment over the least of all others: honest recordings reach 1.2."""
LONG_WINDOW_S = 8.0
LONG_FROM, LONG_WARNED = 1.2, 2.5
"""Where 4 s windows leave a doubt, the mean scatter over windows of 8 s is looked at: one's own
acceleration averages out better in them, and the few in which much gravity moves count most. Honest
recordings reach 1.3 there, a thigh's accelerometer with the axis that hardly sees gravity negated
4.3."""
FEWEST_WINDOWS = 8
FLOOR_M2_S4 = 0.01  # (0.1 m/s²)²: windows that scatter less count alike
FIELD_WINDOW_S = 6.0
FIELD_REFUSED, FIELD_WARNED = 1.5, 1.1
"""Likewise of the field: honest recordings reach 0.5, over strong iron in the floor."""
FIELD_FLOOR = 1e-4  # a hundredth of the field's norm, squared
_SEGMENTS = ("proximal", "distal")
_ALIKE = 1.3  # assignments that scatter this alike cannot be told apart


@dataclass(frozen=True, slots=True, eq=False)
class Assignment:
    """How the given assignment of axes compares with the best.

    Parameters
    ----------
    ratio : float
        Scatter of the given over the least of all others; above 1 another is better. NaN where
        too little turns.
    best : (3, 3) array
        The better assignment of the gyroscope's channels; of those that are as good, the one that
        is the smallest mistake of a single instrument.
    n_windows : int
    """

    ratio: float
    best: Array
    n_windows: int


@lru_cache(maxsize=8)  # two tests ask for it, of the same two sensors
def gravity_assignment(sensor: InertialRecording) -> Assignment:
    """Hold a sensor's gyroscope against gravity."""
    scatter = scatter_by_mapping(sensor.gyroscope, sensor.accelerometer, sensor.rate_hz, WINDOW_S)
    return _compared(scatter.summed(FLOOR_M2_S4) if scatter.n_windows else None, scatter.n_windows)


def doubted(sensor: InertialRecording) -> Assignment:
    """Return the assignment of 4 s, or of 8 s where that of 4 s is a doubt and 8 s are sure."""
    found = gravity_assignment(sensor)
    if not LONG_FROM < found.ratio <= WARNED:
        return found
    scatter = scatter_by_mapping(
        sensor.gyroscope, sensor.accelerometer, sensor.rate_hz, LONG_WINDOW_S
    )
    mean = scatter.variance.mean(axis=0) if scatter.n_windows else None
    longer = _compared(mean, scatter.n_windows)
    return longer if longer.ratio > LONG_WARNED else found


@lru_cache(maxsize=8)
def field_assignment(sensor: InertialRecording) -> Assignment:
    """Hold a sensor's gyroscope against the magnetic field, which it must have."""
    field = sensor.magnetometer
    assert field is not None
    unit = field / np.nanmedian(np.linalg.norm(field, axis=1))
    scatter = scatter_by_mapping(sensor.gyroscope, unit, sensor.rate_hz, FIELD_WINDOW_S)
    return _compared(scatter.summed(FIELD_FLOOR) if scatter.n_windows else None, scatter.n_windows)


def _compared(scatter: Array | None, n_windows: int) -> Assignment:
    if scatter is None or n_windows < FEWEST_WINDOWS:
        return Assignment(float("nan"), np.eye(3), n_windows)
    others = scatter[1:]
    alike = [k for k in range(1, len(SIGNED)) if scatter[k] <= _ALIKE * others.min()]
    simplest = min(alike, key=lambda k: (_mistakes(SIGNED[k]), scatter[k]))
    least = float(others.min())
    return Assignment(float(scatter[0]) / least, SIGNED[simplest], n_windows)


def _mistakes(gyroscope: Array) -> int:
    """Return how small a mistake of either instrument an assignment of the gyroscope is."""
    return min(changed(gyroscope), changed(up_to_sign(gyroscope.T)))


def frame(evidence: Evidence) -> tuple[Outcome, ...]:
    """Test whether each sensor's gyroscope and accelerometer are in one right-handed frame."""
    if evidence.pair is None:
        return (not_tested(TEST, "both sensors", NO_SIGNALS),)
    return tuple(_one(evidence, k) for k in range(2))


NO_SIGNALS = "the wearable gives no raw signals of gyroscope and accelerometer."


def cut_off(evidence: Evidence, k: int) -> str:
    """Return where the gyroscope of the proximal (0) or distal (1) sensor is cut; else empty.

    An accelerometer that is cut in impacts still shows gravity.
    """
    cut = (each for each in evidence.ceilings[k] if each.instrument == "gyroscope")
    return "; ".join(ceiling.summary() for ceiling in cut)


def _one(evidence: Evidence, k: int) -> Outcome:
    assert evidence.pair is not None
    sensor: InertialRecording = getattr(evidence.pair, _SEGMENTS[k])
    subject: Subject = "distal sensor" if k else "proximal sensor"
    found = gravity_assignment(sensor)
    if not np.isfinite(found.ratio):
        return not_tested(
            TEST,
            subject,
            f"the sensor turns enough in {found.n_windows} windows of {WINDOW_S:g} s only; "
            f"{FEWEST_WINDOWS} are needed to hold its gyroscope against gravity.",
        )
    if found.ratio <= WARNED:
        return _by_longer_windows(evidence, k, sensor, subject)
    limit = REFUSED if found.ratio > REFUSED else WARNED
    verdict: Verdict = "contradicted" if found.ratio > REFUSED else "doubtful"
    return Outcome(
        TEST, subject, verdict, found.ratio, limit, said=_said(evidence, k, sensor, found, limit)
    )


def _by_longer_windows(
    evidence: Evidence, k: int, sensor: InertialRecording, subject: Subject
) -> Outcome:
    found = doubted(sensor)
    if found.ratio <= LONG_WARNED:
        return Outcome(TEST, subject, "consistent", found.ratio, REFUSED)
    said = _said(evidence, k, sensor, found, LONG_WARNED)
    return Outcome(TEST, subject, "doubtful", found.ratio, LONG_WARNED, said=said)


def _said(
    evidence: Evidence, k: int, sensor: InertialRecording, found: Assignment, limit: float
) -> str:
    value, bound = told_apart(found.ratio, limit)
    seen = (
        f"{sensor.source}: gyroscope and accelerometer contradict each other: turned back by the "
        f"gyroscope, gravity scatters {value} times as much as with other axes (limit {bound})."
    )
    cut = cut_off(evidence, k)
    if cut:
        return (
            f"{seen} {cut}. What lies beyond the range is lost, and with it the sensor's "
            "orientation. Record with a wider range. (The order and the signs of the axes cannot "
            "be judged from this recording.)"
        )
    return f"{seen} {_cause(sensor, found.best, _SEGMENTS[k])}"


def _cause(sensor: InertialRecording, best: Array, segment: str) -> str:
    """Name the instrument and the axes that would agree."""
    gyroscope, accelerometer = best, up_to_sign(best.T)
    by_field = field_assignment(sensor) if sensor.magnetometer is not None else None
    known = by_field is not None and np.isfinite(by_field.ratio)
    if (best == -np.eye(3)).all():
        return (
            "Either the gyroscope has the wrong sign on all three axes, or x, y and z are no "
            "right-handed frame (one axis of every instrument has the wrong sign, or two are "
            f"exchanged). Correct the order in [wearable.{segment}], or the signs in the file."
        )
    gyroscope_only = bool(np.linalg.det(best) < 0)
    if known and by_field is not None and by_field.ratio <= FIELD_WARNED and not gyroscope_only:
        return _remedy(
            "accelerometer", accelerometer, segment, "The magnetometer agrees with the gyroscope."
        )
    if known and by_field is not None and by_field.ratio > FIELD_REFUSED:
        return _remedy("gyroscope", gyroscope, segment, "The magnetometer contradicts it too.")
    if gyroscope_only or changed(gyroscope) < changed(accelerometer):
        return _remedy("gyroscope", gyroscope, segment)
    if changed(accelerometer) < changed(gyroscope):
        return _remedy("accelerometer", accelerometer, segment)
    return (
        f"{_remedy('accelerometer', accelerometer, segment)} The gyroscope read as "
        f"{as_columns(gyroscope)} would agree as well."
    )


def _remedy(instrument: str, mapping: Array, segment: str, why: str = "") -> str:
    reason = f" {why}" if why else ""
    return (
        f"In the {instrument}, {in_words(mapping)}: read as {as_columns(mapping)} it agrees."
        f"{reason} Correct the order in [wearable.{segment}] `{instrument}`, or the signs in the "
        "file."
    )
