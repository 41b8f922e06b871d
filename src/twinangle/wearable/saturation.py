"""Channels that ran into the end of their range, told by the shape of their peaks.

Calibrated channels are not stuck at one value when saturated: scale, offset and the neighbouring
axes make the ceiling dither, and a calibration that turns the axes makes it a ceiling along some
other direction. What stays is the shape: the peaks are cut flat at one common level.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from twinangle.signals.gaps import bridge_sensor
from twinangle.signals.recording import Array, InertialRecording
from twinangle.wearable import quaternions

TOP, FLANK = 0.965, 0.75  # of the level: where a peak's width is taken
FLAT_RATIO, DENSE_RATIO = 0.6, 0.45
"""Width at the top over width at the flank, above which peaks are cut: on its own, and where the
samples at the top are dense as well. A sine's is 0.37, one cut to 0.9 of its height 0.61; honest
recordings and simulated walks reach 0.5 over five peaks."""
_MOST_SPREAD = 0.02  # SD of the samples at the top, of the level: one common ceiling
_DENSE = 0.008  # distance of their quartiles, of the level, where a ceiling packs them
_FEWEST_SAMPLES = 500
_LEAST_PEAKS = 5
_LEAST_SAMPLES = 20
_LEAST_PER_PEAK = 3.0  # samples a peak: fewer have no shape
_LEAST_FORCE_M_S2 = 12.0  # every accelerometer's range holds gravity; rest is a plateau at 9.81
_EXTREME_SHARE = 0.001  # the level is the median of this share of the samples, the largest
_SCREENED = 150  # directions, and
_SCREEN_SAMPLES = 20_000  # samples of a first look at all of them
_FOLLOWED = 6  # directions followed from there
_STEPS_DEG = (8.0, 5.0, 3.0, 2.0, 1.0, 0.5)
_SQUARE = 0.2  # cosine below which two directions are square, to 12°
_ALONG_AXIS_DEG = 8.0

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Ceiling:
    """One end of the range of one instrument, as its signal shows it."""

    instrument: str  # "gyroscope" or "accelerometer"
    direction: Array  # (3,) unit, sensor frame; the ceiling lies where ``direction · x = level``
    level: float  # rad/s or m/s²
    held: Flags  # (n,) which samples lie at the ceiling
    flatness: float  # width of the peaks at 96.5 % of the level over that at 75 %
    longest_s: float  # the longest stretch at the ceiling
    longest_at_s: float  # and when it begins, on the recording's clock

    @property
    def share(self) -> float:
        """Share of all samples that lie at the ceiling."""
        return float(self.held.mean())

    @property
    def axis(self) -> str:
        """The channel's axis, with its sign, or how far the direction lies from the nearest."""
        nearest = int(np.argmax(np.abs(self.direction)))
        sign = "+" if self.direction[nearest] > 0 else "−"
        off = float(np.degrees(np.arccos(min(abs(self.direction[nearest]), 1.0))))
        name = f"{sign}{'xyz'[nearest]}"
        return name if off <= _ALONG_AXIS_DEG else f"a direction {off:.0f}° off {name}"

    def summary(self) -> str:
        """Return what, where, at which level and how often."""
        level = (
            f"{np.degrees(self.level):.0f} °/s"
            if self.instrument == "gyroscope"
            else f"{self.level:.1f} m/s²"
        )
        return (
            f"{self.instrument} saturated along {self.axis} at {level} in {self.share:.1%} of the "
            f"samples (up to {self.longest_s:.2f} s on end, at {self.longest_at_s:.1f} s)"
        )


@lru_cache(maxsize=4)  # every procedure asks for it, of the same two recordings
def find_ceilings(sensor: InertialRecording) -> tuple[Ceiling, ...]:
    """Find where gyroscope or accelerometer are cut off at one level, at any level.

    Along a direction n the level L is the median of the largest thousandth of n·x. Of the peaks
    that rise above 0.75 L and reach 0.965 L, the time above 0.965 L is divided by that above
    0.75 L: 0.37 for a sine, more the more is cut off (0.61 at a tenth of the height). n is a
    ceiling where, over five peaks or more of three samples or more each, that ratio is above 0.6
    and the samples at the top lie together (SD below 2 % of L); or above 0.45, where they lie
    closer than any smooth peak's (quartiles within 0.8 % of L; a parabola's are 1.75 % apart).

    The six half axes are tried and, as a calibration may have turned the axes, the six most
    promising of 150 directions, each of them then turned in ever smaller steps to where its peaks
    are flattest. Gyroscopes are taken about their median. Our own.

    Parameters
    ----------
    sensor : InertialRecording
        Gaps may be NaN; short ones are bridged first.

    Returns
    -------
    tuple of Ceiling
        The gyroscope's first, those that hold most samples first; empty where nothing is cut.

    Notes
    -----
    Peaks of one or two samples, and cuts that take little of the peaks, are not seen. A movement
    at one constant speed, as a dynamometer makes it, has flat peaks too.
    """
    sensor = bridge_sensor(sensor)
    rate = sensor.gyroscope - np.nanmedian(sensor.gyroscope, axis=0)
    found = []
    for name, values, least in (
        ("gyroscope", rate, 0.0),
        ("accelerometer", sensor.accelerometer, _LEAST_FORCE_M_S2),
    ):
        known = np.asarray(np.isfinite(values).all(axis=1))
        if known.sum() >= _FEWEST_SAMPLES:
            held = _distinct(_candidates(name, values, known, least, sensor))
            found += sorted(held, key=lambda ceiling: -ceiling.share)
    return tuple(found)


def _candidates(
    name: str, values: Array, known: Flags, least: float, sensor: InertialRecording
) -> list[Ceiling]:
    """Return the ceilings along every direction tried, own axes first, then the flattest."""
    some = values[known]
    screen = _Screen.of(some[:: max(1, some.shape[0] // _SCREEN_SAMPLES)], least)
    axes = np.concatenate([np.eye(3), -np.eye(3)])
    sphere = _sphere(_SCREENED)
    promising = np.argsort(-screen.flatness(sphere), kind="stable")[:_FOLLOWED]
    tried = [*axes, *_followed(screen, np.concatenate([axes, sphere[promising]]))]
    judged = [_judge(name, values, direction, least, sensor) for direction in tried]
    own = [ceiling for ceiling in judged[: len(axes)] if ceiling is not None]
    turned = [ceiling for ceiling in judged[len(axes) :] if ceiling is not None]
    return own + sorted(turned, key=lambda ceiling: -ceiling.flatness)


def _level(projected: Array) -> float:
    """Return the median of the largest thousandth."""
    count = max(5, int(projected.size * _EXTREME_SHARE))
    largest = np.sort(np.partition(projected, -count)[-count:])
    return float((largest[(count - 1) // 2] + largest[count // 2]) / 2)


@dataclass(frozen=True, slots=True, eq=False)
class _Screen:
    """Samples for a first look along many directions, in single precision and the large alone."""

    values: NDArray[np.float32]  # (3, n)
    count: int  # of the largest, of which the median is the level
    least: float  # level below which nothing is looked at

    @classmethod
    def of(cls, values: Array, least: float) -> _Screen:
        """Leave out samples too small to lie on the flank of a peak that is looked at."""
        size = np.sqrt(np.einsum("ij,ij->i", values, values))
        least = max(least, 0.3 * float(np.percentile(size, 99)))
        count = max(5, int(values.shape[0] * _EXTREME_SHARE))
        large = values[size >= FLANK * least]
        return cls(np.ascontiguousarray(large.T, dtype=np.float32), count, least)

    def flatness(self, directions: Array) -> Array:
        """Return, along each direction, the share of what is large that lies at the very top."""
        along = directions.astype(np.float32) @ self.values
        if along.shape[1] < self.count:
            return np.zeros(along.shape[0])
        largest = np.sort(np.partition(along, -self.count, axis=1)[:, -self.count :], axis=1)
        level = (largest[:, (self.count - 1) // 2] + largest[:, self.count // 2]) / np.float32(2)
        top, flank = (
            _count_rows(along >= (part * level)[:, None])
            for part in (np.float32(TOP), np.float32(FLANK))
        )
        large = (level > self.least) & (top >= _LEAST_SAMPLES)
        return np.where(large, top / np.maximum(flank, 1), 0.0)


def _count_rows(flags: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return how many of each row (m, n) are true: bits counted, faster than a sum."""
    bits = np.bitwise_count(np.packbits(flags, axis=1))
    return np.asarray(bits.sum(axis=1, dtype=np.int64))


def _followed(screen: _Screen, starts: Array) -> Array:
    """Turn each direction, in ever smaller steps, to where its peaks are flattest."""
    found = starts
    ring = np.concatenate([[0j], np.exp(1j * np.pi * np.arange(8) / 4)])
    for step_deg in _STEPS_DEG:
        size = np.tan(np.radians(step_deg))
        across = _square_to(found)
        moved = found[:, None] + size * (
            ring.real[:, None] * across[:, :1] + ring.imag[:, None] * across[:, 1:]
        )
        moved /= np.linalg.norm(moved, axis=2, keepdims=True)
        score = screen.flatness(moved.reshape(-1, 3)).reshape(moved.shape[:2])
        found = moved[np.arange(len(found)), score.argmax(axis=1)]
    return found


def _square_to(directions: Array) -> Array:
    """Return two unit vectors square to each direction (m, 3) and to each other, (m, 2, 3)."""
    least = np.eye(3)[np.argmin(np.abs(directions), axis=1)]
    first = quaternions.cross(directions, least)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return np.stack([first, quaternions.cross(directions, first)], axis=1)


def _sphere(count: int) -> Array:
    """Return unit vectors spread evenly by the golden angle, (count, 3)."""
    index = np.arange(count) + 0.5
    height = 1 - 2 * index / count
    turn = np.pi * (1 + np.sqrt(5)) * index
    across = np.sqrt(1 - height**2)
    return np.column_stack([across * np.cos(turn), across * np.sin(turn), height])


def _judge(
    name: str, values: Array, direction: Array, least: float, sensor: InertialRecording
) -> Ceiling | None:
    """Return the ceiling along a direction, or None where the peaks are not cut."""
    cut = cut_peaks(values @ direction)
    if cut is None or cut.level <= least:
        return None
    if not cut.dense and (cut.flatness < FLAT_RATIO or cut.spread > _MOST_SPREAD):
        return None
    first, last = _runs(cut.held)
    longest = int(np.argmax(last - first))
    return Ceiling(
        name,
        direction,
        cut.level,
        cut.held,
        cut.flatness,
        float(last[longest] - first[longest]) / sensor.rate_hz,
        sensor.start_s + float(first[longest]) / sensor.rate_hz,
    )


@dataclass(frozen=True, slots=True, eq=False)
class CutPeaks:
    """The shape of a signal's largest peaks, see :func:`cut_peaks`."""

    level: float  # median of the largest thousandth
    held: Flags  # (n,) which samples lie above 96.5 % of the level
    flatness: float  # their time over that above 75 %, in the peaks that hold them
    spread: float  # SD of those samples, of the level
    quartiles: float  # distance of their quartiles, of the level

    @property
    def dense(self) -> bool:
        """Whether the samples at the top lie closer than any smooth peak's."""
        return self.flatness > DENSE_RATIO and self.quartiles < _DENSE


def cut_peaks(projected: Array) -> CutPeaks | None:
    """Return the shape of the peaks of one signal (n,) that rise from 0; None where none is cut.

    Five peaks or more that reach the level, of three samples or more each, are needed, and that
    they are flatter than smooth ones (`DENSE_RATIO`).
    """
    level = _level(projected[np.isfinite(projected)])
    if level <= 0:
        return None
    with np.errstate(invalid="ignore"):
        at_top: Flags = np.asarray(projected >= TOP * level)
        if np.count_nonzero(at_top) < _LEAST_SAMPLES:
            return None
        begins, ends = _runs(projected > FLANK * level)
    reached = np.add.reduceat(at_top, begins) > 0 if begins.size else np.zeros(0, bool)
    begins, ends = begins[reached], ends[reached]
    # All that lies at the top lies within a peak that reaches it.
    top, flank = int(at_top.sum()), int((ends - begins).sum())
    if begins.size < _LEAST_PEAKS or top < max(_LEAST_SAMPLES, _LEAST_PER_PEAK * begins.size):
        return None
    if top / flank <= DENSE_RATIO:
        return None
    low, high = np.percentile(projected[at_top], [25, 75])
    spread = float(np.std(projected[at_top])) / level
    return CutPeaks(level, at_top, top / flank, spread, float(high - low) / level)


def _runs(flags: Flags) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return where runs of True begin and where they end, one past the last."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return edges[::2], edges[1::2]


def _distinct(ceilings: list[Ceiling]) -> list[Ceiling]:
    """Keep the first, and the others that may be axes of the same device: square or opposite.

    Where two axes are cut at once the direction between them has flat peaks as well.
    """
    kept: list[Ceiling] = []
    for ceiling in ceilings:
        cosines = [float(ceiling.direction @ other.direction) for other in kept]
        if all(abs(c) < _SQUARE or c < _SQUARE - 1 for c in cosines):
            kept.append(ceiling)
    return kept
