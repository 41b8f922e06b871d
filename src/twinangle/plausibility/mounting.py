"""Whether a sensor sits on its segment as before: its vertical and main axis of turning in walking.

No reference is needed. People who walk on a slope or on stairs hold their legs otherwise, so this
test warns and never refuses.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from twinangle.plausibility.channels import sure_causes
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.levelled import vertical_of
from twinangle.plausibility.outcome import Outcome, Subject, not_tested
from twinangle.signals.recording import Array, InertialRecording
from twinangle.thresholds import told_apart

TEST = "mounting"
MOST_TURN_DEG = 8.0
NEEDED = 12  # seconds of walking before and after
_WORK_HZ = 25.0
_STRIDE_S = (0.6, 2.2)
_LIKE = 0.6  # autocorrelation at the stride
_SAME_STRIDE = 0.2  # share by which a second's stride may differ from the usual one
_BUSY = 0.5  # of the speed that a fifth of the seconds exceed
_HALF_S = 3.0  # of the autocorrelation's window
_SUBJECTS: tuple[Subject, Subject] = ("proximal sensor", "distal sensor")


@dataclass(frozen=True, slots=True, eq=False)
class Seconds:
    """A sensor second by second: the vertical, and the second moment of its rate."""

    up: Array  # (m, 3)
    moment: Array  # (m, 3, 3) rad²/s²
    start_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Mounting:
    """How a sensor sits on its segment, by the walking of one recording."""

    subject: Subject
    up: Array  # (3,) mean vertical in the sensor's frame, unit
    axis: Array  # (3,) main axis of turning, unit; either way round


def mountings(evidence: Evidence) -> tuple[Mounting, ...]:
    """Return how both sensors sit; empty where less than 12 s of steady walking tell it."""
    if evidence.pair is None or sure_causes(evidence, gyroscopes_alone=True):
        return ()
    walking = walking_seconds(evidence)
    found = []
    for subject, seconds in zip(_SUBJECTS, _both(evidence), strict=True):
        index = _usable(seconds, walking)
        if index.size < NEEDED:
            return ()
        found.append(Mounting(subject, *_directions(seconds, index)))
    return tuple(found)


def mounting_steps(evidence: Evidence) -> tuple[Outcome, ...]:
    """Look for a time before which and after which a sensor sits otherwise on its segment.

    Over 12 s of walking on either side of every second, the mean vertical and the main axis of the
    rate (eigenvector of Σ ω ωᵀ) are two directions in the sensor's frame; the rotation that takes
    those before to those after (Wahba's problem, by singular values: Markley 1988, J Astronaut Sci
    36:245, from memory) is the slip. Seconds count as walking where the distal sensor's speed
    repeats every stride; neutral standing, the functional movement and what lies before them do
    not.
    """
    if evidence.pair is None:
        return tuple(
            not_tested(TEST, one, "the wearable delivers no raw signals") for one in _SUBJECTS
        )
    cut = sure_causes(evidence, gyroscopes_alone=True)
    if cut:
        reason = f"a gyroscope is saturated, which turns the vertical: {cut}"
        return tuple(not_tested(TEST, subject, reason) for subject in _SUBJECTS)
    walking = walking_seconds(evidence)
    if walking.sum() < 2 * NEEDED:
        reason = f"less than {2 * NEEDED} s of steady walking"
        return tuple(not_tested(TEST, subject, reason) for subject in _SUBJECTS)
    return tuple(
        _judge(subject, seconds, walking)
        for subject, seconds in zip(_SUBJECTS, _both(evidence), strict=True)
    )


def turned_between(evidence: Evidence, time_s: float) -> tuple[float, float] | None:
    """Return by how many degrees each sensor sits otherwise after a time than before it.

    None where less than 6 s of walking lie on either side.
    """
    if evidence.pair is None:
        return None
    walking = np.flatnonzero(walking_seconds(evidence))
    both = _both(evidence)
    edge = time_s - both[0].start_s
    before, after = walking[walking < edge - 1][-NEEDED:], walking[walking > edge + 1][:NEEDED]
    if min(before.size, after.size) < NEEDED // 2:
        return None
    return turn(both[0], before, after), turn(both[1], before, after)


def walking_seconds(evidence: Evidence) -> NDArray[np.bool_]:
    """Return which seconds of the recording are walking, by the distal sensor's speed."""
    assert evidence.pair is not None
    stride, busy = _strides(evidence.pair.distal)
    if not np.isfinite(stride[busy]).any():
        return np.zeros(busy.size, dtype=bool)
    usual = float(np.nanmedian(stride[busy]))
    with np.errstate(invalid="ignore"):
        found = busy & (np.abs(stride / usual - 1) < _SAME_STRIDE)
    second = evidence.pair.distal.start_s + np.arange(busy.size)
    for part in (evidence.static, evidence.functional):
        whole = part is not None and part.end_s - part.start_s > 0.5 * busy.size
        if part is not None and not whole:
            found &= (second > part.end_s + 1) | (second < part.start_s - 2)
    return np.asarray(found)


def _both(evidence: Evidence) -> tuple[Seconds, Seconds]:
    assert evidence.pair is not None
    return _seconds(evidence.pair.proximal), _seconds(evidence.pair.distal)


@lru_cache(maxsize=4)  # three tests ask for it, of the same two sensors
def _seconds(sensor: InertialRecording) -> Seconds:
    rate, rate_hz = _thinned(sensor)
    step = max(1, int(sensor.rate_hz / _WORK_HZ))
    size = round(rate_hz)
    count = rate.shape[0] // size
    up = vertical_of(sensor)[: rate.shape[0] * step : step]
    blocks = rate[: count * size].reshape(count, size, 3)
    return Seconds(
        up[: count * size].reshape(count, size, 3).mean(axis=1),
        np.einsum("ijk,ijl->ikl", blocks, blocks) / size,
        sensor.start_s,
    )


@lru_cache(maxsize=2)  # asked for with the reference and without
def _strides(sensor: InertialRecording) -> tuple[Array, NDArray[np.bool_]]:
    """Return what :func:`_stride_by_second` finds in a sensor's speed; not to be written to."""
    rate, rate_hz = _thinned(sensor)
    return _stride_by_second(np.linalg.norm(rate, axis=1), rate_hz)


def _thinned(sensor: InertialRecording) -> tuple[Array, float]:
    """Return the rate in means over about 40 ms, and how many of them a second holds."""
    step = max(1, int(sensor.rate_hz / _WORK_HZ))
    rate = sensor.gyroscope[: sensor.n_samples // step * step].reshape(-1, step, 3).mean(axis=1)
    return rate, sensor.rate_hz / step


def _stride_by_second(speed: Array, rate_hz: float) -> tuple[Array, NDArray[np.bool_]]:
    """Return the stride time of each second, NaN where the speed does not repeat, and the busy."""
    size, half = round(rate_hz), int(_HALF_S * rate_hz)
    count = speed.size // size
    stride = np.full(count, np.nan)
    lags = np.arange(int(_STRIDE_S[0] * rate_hz), int(_STRIDE_S[1] * rate_hz))
    blocks = speed[: count * size].reshape(count, size)
    rms = np.sqrt(np.mean(blocks**2, axis=1))
    for second in range(count if speed.size >= 2 * half else 0):
        first = int(np.clip(second * size + size // 2 - half, 0, speed.size - 2 * half))
        part = speed[first : first + 2 * half]
        if not np.isfinite(part).all():
            continue
        likeness = _autocorrelation(part - part.mean(), lags)
        best = int(np.argmax(likeness))
        if likeness[best] > _LIKE:
            stride[second] = lags[best] / rate_hz
    known = np.isfinite(rms)
    level = _BUSY * np.percentile(rms[known], 80) if known.any() else np.inf
    with np.errstate(invalid="ignore"):
        return stride, np.asarray(known & (rms > level))


def _autocorrelation(values: Array, lags: NDArray[np.int64]) -> Array:
    """Return the correlation of a signal with itself at each lag, over what overlaps."""
    n = values.size
    product = np.correlate(values, values, "full")[n - 1 :]
    power = np.concatenate([[0.0], np.cumsum(values**2)])
    both = np.sqrt(power[n - lags] * (power[n] - power[lags]))
    return np.asarray(product[lags] / np.maximum(both, 1e-12))


def turn(seconds: Seconds, before: NDArray[np.int64], after: NDArray[np.int64]) -> float:
    """Return the angle in degrees that takes a sensor's directions before to those after."""
    return _angle(_directions(seconds, before), _directions(seconds, after))


def turned(first: Mounting, second: Mounting) -> float:
    """Return by how many degrees a sensor sits otherwise in a second recording than in a first."""
    return _angle((first.up, first.axis), (second.up, second.axis))


def _directions(seconds: Seconds, part: NDArray[np.int64]) -> tuple[Array, Array]:
    """Return the mean vertical and the main axis of turning, unit vectors."""
    mean = seconds.up[part].mean(axis=0)
    main = np.linalg.eigh(seconds.moment[part].mean(axis=0))[1][:, -1]
    return mean / np.linalg.norm(mean), main


def _angle(before: tuple[Array, Array], after: tuple[Array, Array]) -> float:
    """Return the angle of the rotation that takes two directions nearest to two others."""
    axis = after[1] if before[1] @ after[1] >= 0 else -after[1]
    u, _, v = np.linalg.svd(np.outer(after[0], before[0]) + np.outer(axis, before[1]))
    rotation = u @ np.diag([1.0, 1.0, np.linalg.det(u @ v)]) @ v
    return float(np.degrees(np.arccos(np.clip((np.trace(rotation) - 1) / 2, -1.0, 1.0))))


def _usable(seconds: Seconds, walking: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the numbers of the seconds of walking in which the sensor is known."""
    usable = np.asarray(np.isfinite(seconds.up).all(axis=1))
    usable &= np.isfinite(seconds.moment).all(axis=(1, 2))
    both = min(usable.size, walking.size)
    return np.flatnonzero(np.asarray(walking[:both] & usable[:both]))


def _judge(subject: Subject, seconds: Seconds, walking: NDArray[np.bool_]) -> Outcome:
    index = _usable(seconds, walking)
    worst, when = 0.0, float("nan")
    tried = False
    for edge in range(NEEDED, index.size - NEEDED + 1):
        before, after = index[edge - NEEDED : edge], index[edge : edge + NEEDED]
        if before[-1] - before[0] > 2 * NEEDED or after[-1] - after[0] > 2 * NEEDED:
            continue
        tried = True
        size = turn(seconds, before, after)
        if size > worst:
            worst, when = size, seconds.start_s + float(index[edge])
    if not tried:
        return not_tested(TEST, subject, f"no {2 * NEEDED} s of steady walking hang together")
    if worst <= MOST_TURN_DEG:
        return Outcome(TEST, subject, "consistent", worst, MOST_TURN_DEG, "deg")
    shown, bound = told_apart(worst, MOST_TURN_DEG)
    said = (
        f"near {when:.0f} s it comes to sit otherwise on its segment: vertical and main axis of "
        f"turning in walking are {shown}° away from where they were (more than {bound}°). It "
        "slipped or was put on anew, and angles after it are off by up to that; or the person "
        "walked otherwise from there (slope, stairs). Where it slipped, analyse both parts as "
        "trials with a neutral standing of their own."
    )
    return Outcome(TEST, subject, "doubtful", worst, MOST_TURN_DEG, "deg", said)
