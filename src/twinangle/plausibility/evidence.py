"""What the physical tests are given: one trial's instruments, gaps and masked stretches NaN."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from twinangle.plausibility.outcome import Outcome
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    InertialRecording,
    Interval,
    PairedAngles,
    SensorPair,
    Synchronisation,
)
from twinangle.wearable.saturation import Ceiling, find_ceilings


@dataclass(frozen=True, eq=False)
class Evidence:
    """One trial's instruments.

    Parameters
    ----------
    sensors : SensorPair or None
        Raw signals with short gaps bridged; None where the wearable delivers none.
    within : tuple of Interval
        The stretches of the wearable's clock that the trial rests on; empty for all of it.
    reference : AngleRecording or None
        On its own clock.
    clock : Synchronisation or None
        None before it is known, and without a reference.
    paired : PairedAngles or None
        The wearable's angle and the reference on the wearable's samples; None before the clock.
    static, functional : Interval or None
        Neutral standing and the functional movement on the wearable's clock, where they lie in
        this recording.
    standing : SensorPair or None
        Neutral standing where it is a recording of its own.
    whole : callable, optional
        Returns the sensors over the whole file, where `sensors` are a part of it: only read where a
        test looks beyond that part.
    joint : str
        As the study names it.
    """

    sensors: SensorPair | None
    within: tuple[Interval, ...] = ()
    reference: AngleRecording | None = None
    clock: Synchronisation | None = None
    paired: PairedAngles | None = None
    static: Interval | None = None
    functional: Interval | None = None
    joint: str = "knee"
    standing: SensorPair | None = None
    whole: Callable[[], SensorPair | None] | None = None

    @cached_property
    def pair(self) -> SensorPair | None:
        """The sensors with everything outside `within` made NaN."""
        if self.sensors is None or not self.within:
            return self.sensors
        return SensorPair(
            _kept(self.sensors.proximal, self.within), _kept(self.sensors.distal, self.within)
        )

    @cached_property
    def ceilings(self) -> tuple[tuple[Ceiling, ...], tuple[Ceiling, ...]]:
        """Where the proximal and the distal sensor ran into the end of their range."""
        if self.sensors is None:
            return (), ()
        return find_ceilings(self.sensors.proximal), find_ceilings(self.sensors.distal)

    @property
    def files(self) -> str:
        """The files of both sensors, for messages."""
        if self.sensors is None:
            return ""
        both = (self.sensors.proximal.source, self.sensors.distal.source)
        return ", ".join(dict.fromkeys(both))


Test = Callable[[Evidence], tuple[Outcome, ...]]


def masked(sensor: InertialRecording, within: tuple[Interval, ...]) -> InertialRecording:
    """Return a sensor whose samples outside every one of the stretches are NaN."""
    time_s = sensor.time_s
    inside = np.zeros(time_s.size, dtype=bool)
    for part in within:
        inside |= (time_s >= part.start_s) & (time_s <= part.end_s)
    if inside.all():
        return sensor

    def keep(values: Array) -> Array:
        return np.where(inside[:, None], values, np.nan)

    field = sensor.magnetometer
    return replace(
        sensor,
        accelerometer=keep(sensor.accelerometer),
        gyroscope=keep(sensor.gyroscope),
        magnetometer=None if field is None else keep(field),
    )


@lru_cache(maxsize=2)  # a trial's evidence is drawn up three times; what is found goes by sensor
def _kept(sensor: InertialRecording, within: tuple[Interval, ...]) -> InertialRecording:
    """Return the masked sensor, the same one for the same sensor and stretches."""
    return masked(sensor, within)
