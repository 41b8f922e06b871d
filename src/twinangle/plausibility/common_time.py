"""Both gyroscopes and the reference on one grid of the wearable's clock, low-passed alike."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from twinangle.clocks.band import band_limit, band_limit_columns, grid_times
from twinangle.errors import AngleError
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.levelled import vertical_of
from twinangle.signals.recording import Array, InertialRecording
from twinangle.wearable.heading.hinge import hinge_axes

GRID_HZ = 50.0
CUTOFF_HZ = 6.0  # walking's joint angles lie below it; white noise of a reference's slope above
_CUTOFF_SHARE = 0.3  # of a slower grid
ACTIVE_DEG_S = 20.0  # SD of the reference's slope below which a stretch says nothing of rates
_LEAST_ACTIVE_S = 10.0
_REACH_S = 0.2

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Hinge:
    """The flexion axis in each sensor, from the gyroscopes alone, and the rate about it."""

    proximal: Array  # (3,) unit, proximal sensor frame
    distal: Array  # (3,) unit, distal sensor frame; flexion of the reference is positive
    rate: Array  # (n,) distal about its axis minus proximal about its own, degrees a second
    correlation: float  # with the reference's slope, at the best delay within 0.2 s


@dataclass(frozen=True, eq=False)
class CommonTime:
    """What both instruments measured at the same times; NaN in gaps and masked stretches."""

    time_s: Array  # (n,) wearable's clock
    rate_hz: float
    proximal: Array  # (n, 3) degrees a second
    distal: Array
    angle_deg: Array  # (n,) the reference
    slope: Array  # (n,) its rate of change, degrees a second
    sensors: tuple[InertialRecording, InertialRecording]

    @cached_property
    def known(self) -> Flags:
        """Where every channel is known, (n,)."""
        rows = np.column_stack([self.proximal, self.distal, self.slope])
        return np.asarray(np.isfinite(rows).all(axis=1))

    @cached_property
    def hinge(self) -> Hinge | None:
        """The hinge the gyroscopes fit best; None where they hardly turn."""
        known = self.known
        try:
            axes = hinge_axes(np.radians(self.proximal[known]), np.radians(self.distal[known]))
        except AngleError:
            return None
        reach, best = round(_REACH_S * self.rate_hz), None
        for sign in (1.0, -1.0):  # the two axes need not point the same way
            rate = self.distal @ axes.distal - sign * (self.proximal @ axes.proximal)
            found = _likeness(np.where(known, rate, 0.0), np.where(known, self.slope, 0.0), reach)
            if best is None or abs(found) > abs(best[0]):
                best = (found, sign, rate)
        assert best is not None  # two signs were tried
        found, sign, rate = best
        way = -1.0 if found < 0 else 1.0
        return Hinge(way * sign * axes.proximal, way * axes.distal, way * rate, abs(found))

    @cached_property
    def upward(self) -> tuple[Array, Array]:
        """The vertical in each sensor's frame, by a filter without magnetometer, (n, 3) each."""
        one, two = (vertical_of(sensor) for sensor in self.sensors)
        times = self.sensors[0].time_s, self.sensors[1].time_s
        return _at(times[0], one, self.time_s), _at(times[1], two, self.time_s)


@lru_cache(maxsize=2)
def common_time(evidence: Evidence) -> CommonTime | str:
    """Bring a trial's gyroscopes and its reference to one grid, or say why that cannot be.

    Up to 50 Hz, low-passed without delay at 6 Hz. Gyroscopes that give means over the interval
    before each sample are read half an interval earlier.
    """
    pair, reference, clock = evidence.pair, evidence.reference, evidence.clock
    if pair is None:
        return "the wearable delivers no raw gyroscopes"
    if reference is None or clock is None:
        return "the trial has no reference on the wearable's clock"
    grid = min(GRID_HZ, pair.distal.rate_hz, reference.rate_hz)
    cutoff = min(CUTOFF_HZ, _CUTOFF_SHARE * grid)
    angle = band_limit(reference, cutoff)
    first, last = clock.to_wearable(np.array([angle.start_s, angle.end_s]))
    end_s = float(pair.distal.time_s[-1])
    time, _ = grid_times(max(float(first), pair.distal.start_s), min(float(last), end_s), grid)
    if time.size < _LEAST_ACTIVE_S * grid:
        return f"the instruments share less than {_LEAST_ACTIVE_S:g} s"
    proximal, distal = (_rates(sensor, cutoff, time) for sensor in (pair.proximal, pair.distal))
    shown, slope = angle.at(clock.to_reference(time))
    found = CommonTime(time, grid, proximal, distal, shown, slope, (pair.proximal, pair.distal))
    return found if _moves(found) else _too_little()


def _rates(sensor: InertialRecording, cutoff_hz: float, time_s: Array) -> Array:
    """Return the low-passed gyroscope at the given times, degrees a second, (n, 3)."""
    early = 0.5 / sensor.rate_hz if sensor.gyroscope_sample == "interval-mean" else 0.0
    of = (sensor.start_s - early, sensor.rate_hz, sensor.source)
    channels = band_limit_columns(np.degrees(sensor.gyroscope), *of, cutoff_hz=cutoff_hz)
    return np.column_stack([channel.at(time_s)[0] for channel in channels])


def _likeness(first: Array, second: Array, reach: int) -> float:
    """Return the correlation of largest size over shifts of up to `reach` samples."""
    norm = float(np.linalg.norm(first) * np.linalg.norm(second))
    found = [
        float(
            first[max(-k, 0) : first.size - max(k, 0)] @ second[max(k, 0) : second.size + min(k, 0)]
        )
        for k in range(-reach, reach + 1)
    ]
    return max(found, key=abs) / max(norm, 1e-12)


def _moves(found: CommonTime) -> bool:
    """Whether the reference moves for long enough to be held against rates."""
    block = int(2.0 * found.rate_hz)
    slope = np.where(found.known, found.slope, np.nan)
    slope = slope[: slope.size // block * block].reshape(-1, block)
    with np.errstate(invalid="ignore"):
        active = slope[np.isfinite(slope).all(axis=1)].std(axis=1) > ACTIVE_DEG_S
    return bool(2.0 * active.sum() >= _LEAST_ACTIVE_S)


def _too_little() -> str:
    return (
        f"both instruments show less than {_LEAST_ACTIVE_S:g} s of movement together "
        f"(SD of the joint's rate above {ACTIVE_DEG_S:g} °/s)"
    )


def _at(own_s: Array, values: Array, time_s: Array) -> Array:
    """Return vectors at other times by straight lines."""
    return np.column_stack([np.interp(time_s, own_s, column) for column in values.T])
