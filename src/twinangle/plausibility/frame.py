"""Gyroscope against accelerometer, and both against the magnetometer: whether they are one frame.

In every window the specific force is turned back by the gyroscope to the window's start, where
gravity stands still. Each of the 48 ways to assign the gyroscope's channels to axes gives a
scatter; where another assignment scatters less than the given one by a factor, in short and in
long windows, the given one is wrong. The same with the magnetic field says which of the
instruments it is. Our own; the limits are set by `benchmarks/plausibility.py`.
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
from twinangle.wording import count

TEST = "frame"
WINDOW_S, LONG_WINDOW_S = 4.0, 8.0
LONG_SMOOTH_S = 3.0
"""Of the means in long windows: a Hann window of 2 s leaves 27 % of an acceleration that repeats
every 1.5 s, a slow stride; one of 3 s nothing."""
REFUSED, WARNED = 2.0, 1.5
SEEN, LONG_WARNED = 1.2, 3.0
"""Scatter of the given assignment over that of another: see :func:`gravity_assignment`."""
FEWEST_WINDOWS = 8
FLOOR_M2_S4 = 0.01  # (0.1 m/s²)²: windows that scatter less count alike
FIELD_WINDOW_S = 6.0
FIELD_REFUSED, FIELD_WARNED = 1.5, 1.25
"""Likewise of the field, of geometric means."""
FIELD_FLOOR = 4e-4  # a fiftieth of the field's norm, squared
FEW_WINDOWS, FEW_TIMES = 30, 1.25  # in fewer windows the limits are so many times as high
FEW_TIMES_REFUSED = 1.125  # that of refusal by gravity: honest sensors reached 2.02
_SEGMENTS = ("proximal", "distal")
_ALIKE = 1.3  # assignments that scatter this alike cannot be told apart


@dataclass(frozen=True, slots=True, eq=False)
class Assignment:
    """How the given assignment of axes compares with the best.

    Parameters
    ----------
    ratio : float
        Scatter of the given over that of the rival it loses most against; above 1 another is
        better. NaN where too little turns.
    doubt : float
        Likewise, of what is warned of.
    limits : tuple of float
        Above which `ratio` contradicts, and above which `doubt` is one.
    best : (3, 3) array
        The better assignment of the gyroscope's channels; of those that are as good, the one that
        is the smallest mistake of a single instrument.
    n_windows : int
    """

    ratio: float
    doubt: float
    limits: tuple[float, float]
    best: Array
    n_windows: int

    @property
    def contradicts(self) -> bool:
        """Whether another assignment is surely better."""
        return self.ratio > self.limits[0]

    @property
    def doubtful(self) -> bool:
        """Whether another assignment may be better, or surely is."""
        return self.contradicts or self.doubt > self.limits[1]


@lru_cache(maxsize=8)  # two tests ask for it, of the same two sensors
def gravity_assignment(sensor: InertialRecording) -> Assignment:
    """Hold a sensor's gyroscope against gravity.

    For each rival assignment three ratios are formed, scatter of the given over the rival's: of the
    geometric means over 4 s windows (G), of the plain means over them (M), and of the plain means
    over 8 s windows (L), in which one's own acceleration averages out better, that of slow strides
    too, since the force is averaged over 3 s there and not over 2. A thigh turns so little in a
    short walk that the remainder of its own acceleration may make any rival look better in G by
    2.1; but such a rival loses where gravity moves much, which M and L weigh most.

    Refused is what loses to one rival by more than 2 in G and in L. Doubtful is what loses to one
    by more than 1.2 in G, and by more than 1.5 in M and L or by more than 3 in L alone. In fewer
    than 30 windows 2.25 and 1.875 are asked for in place of 2 and 1.5. Own rule: it refused none of
    2400 honest sensors in short simulated walks and warned of one; what honest sensors reach is
    printed by ``python -m benchmarks.plausibility --mounted 4``.

    Parameters
    ----------
    sensor : InertialRecording

    Returns
    -------
    Assignment
    """
    short = scatter_by_mapping(sensor.gyroscope, sensor.accelerometer, sensor.rate_hz, WINDOW_S)
    if short.n_windows < FEWEST_WINDOWS:
        return _unknown(short.n_windows)
    usual = over_rivals(short.summed(FLOOR_M2_S4))
    if usual.max() <= SEEN:
        return _against(usual, usual, (REFUSED, WARNED), short.n_windows)
    long = scatter_by_mapping(
        sensor.gyroscope, sensor.accelerometer, sensor.rate_hz, LONG_WINDOW_S, LONG_SMOOTH_S
    )
    means, longer = over_rivals(short.mean(FLOOR_M2_S4)), usual
    if long.n_windows >= FEWEST_WINDOWS:
        longer = over_rivals(long.mean(FLOOR_M2_S4))
    return _against(*weigh(usual, means, longer, short.n_windows), short.n_windows)


def weigh(
    usual: Array, means: Array, longer: Array, n_windows: int
) -> tuple[Array, Array, tuple[float, float]]:
    """Return what refuses and what is doubtful of the ratios G, M and L, rival by rival.

    Parameters
    ----------
    usual, means, longer : (47,) array
        G, M and L of :func:`gravity_assignment`.
    n_windows : int
        Of 4 s.

    Returns
    -------
    ratio, doubt : (47,) array
    limits : tuple of float
        Of both.
    """
    times = _times(n_windows)
    seen = usual > SEEN
    agreed = np.where(seen, np.minimum(means, longer), 0.0)
    alone = np.where(seen, longer, 0.0)
    by_length = agreed.max() <= times * WARNED and alone.max() > LONG_WARNED
    doubt, limit = (alone, LONG_WARNED) if by_length else (agreed, times * WARNED)
    return np.minimum(usual, longer), doubt, (_times(n_windows, FEW_TIMES_REFUSED) * REFUSED, limit)


@lru_cache(maxsize=8)
def field_assignment(sensor: InertialRecording) -> Assignment:
    """Hold a sensor's gyroscope against the magnetic field, which it must have.

    Parameters
    ----------
    sensor : InertialRecording

    Returns
    -------
    Assignment
        Of the geometric means over 6 s windows alone, the limits 1.25 times as high in fewer than
        30 windows.
    """
    field = sensor.magnetometer
    assert field is not None
    unit = field / np.nanmedian(np.linalg.norm(field, axis=1))
    scatter = scatter_by_mapping(sensor.gyroscope, unit, sensor.rate_hz, FIELD_WINDOW_S)
    if scatter.n_windows < FEWEST_WINDOWS:
        return _unknown(scatter.n_windows)
    usual = over_rivals(scatter.summed(FIELD_FLOOR))
    times = _times(scatter.n_windows)
    limits = (times * FIELD_REFUSED, times * FIELD_WARNED)
    return _against(usual, usual, limits, scatter.n_windows)


def _times(n_windows: int, few: float = FEW_TIMES) -> float:
    return few if n_windows < FEW_WINDOWS else 1.0


def over_rivals(scatter: Array, given: int = 0) -> Array:
    """Return one assignment's scatter over that of each of the 47 others, in their order.

    Parameters
    ----------
    scatter : (48,) array
    given : int
        Which of them is the one taken.

    Returns
    -------
    (47,) array
    """
    return np.asarray(scatter[given] / np.delete(scatter, given))


def _unknown(n_windows: int) -> Assignment:
    return Assignment(float("nan"), float("nan"), (REFUSED, WARNED), np.eye(3), n_windows)


def _against(ratio: Array, doubt: Array, limits: tuple[float, float], n_windows: int) -> Assignment:
    """Return the comparison with the rival that is named: the simplest of those about as good."""
    sure = ratio if ratio.max() > limits[0] or doubt.max() <= 0 else doubt
    alike = np.flatnonzero(sure >= sure.max() / _ALIKE)
    simplest = min(alike, key=lambda k: (_mistakes(SIGNED[k + 1]), -sure[k]))
    best = SIGNED[simplest + 1]
    return Assignment(float(ratio.max()), float(doubt.max()), limits, best, n_windows)


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
            f"the sensor turns enough in {count(found.n_windows, 'window')} of {WINDOW_S:g} s "
            f"only; {FEWEST_WINDOWS} are needed to hold its gyroscope against gravity.",
        )
    refused, limit = found.contradicts, found.limits[0]
    if not found.doubtful:
        return Outcome(TEST, subject, "consistent", found.ratio, limit)
    value, limit = (found.ratio, limit) if refused else (found.doubt, found.limits[1])
    verdict: Verdict = "contradicted" if refused else "doubtful"
    said = _said(evidence, k, sensor, found.best, value, limit)
    return Outcome(TEST, subject, verdict, value, limit, said=said)


def _said(
    evidence: Evidence,
    k: int,
    sensor: InertialRecording,
    best: Array,
    ratio: float,
    limit: float,
) -> str:
    value, bound = told_apart(ratio, limit)
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
    return f"{seen} {_cause(sensor, best, _SEGMENTS[k])}"


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
    if known and by_field is not None and not by_field.doubtful and not gyroscope_only:
        return _remedy(
            "accelerometer", accelerometer, segment, "The magnetometer agrees with the gyroscope."
        )
    if known and by_field is not None and by_field.contradicts:
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
