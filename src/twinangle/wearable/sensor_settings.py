"""What a study says of the sensors: their columns and units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from twinangle.signals.channel_checks import (
    QuaternionColumns,
)
from twinangle.signals.recording import (
    GyroscopeSample,
)

STANDARD_GRAVITY = 9.80665  # m/s², by definition (3rd CGPM)


FACTORS: dict[str, dict[str, float]] = {
    "accelerometer": {"m/s^2": 1.0, "g": STANDARD_GRAVITY},
    "gyroscope": {"rad/s": 1.0, "deg/s": np.pi / 180},
    "magnetometer": {"uT": 1.0, "gauss": 100.0, "normalised": 1.0},
}


# Spellings of the same units that files declare in their own words.
SPELLINGS = {
    "m/s²": "m/s^2",
    "m/s2": "m/s^2",
    "m s-2": "m/s^2",
    "m*s^-2": "m/s^2",
    "°/s": "deg/s",
    "dps": "deg/s",
    "µT": "uT",
    "μT": "uT",
    "microtesla": "uT",
    "G": "gauss",
    "Gauss": "gauss",
}


class SensorColumns(Protocol):
    """The channel names of one sensor, three each; no magnetometer is None."""

    @property
    def accelerometer(self) -> Sequence[str]:
        """Channels of specific force, x, y, z."""

    @property
    def gyroscope(self) -> Sequence[str]:
        """Channels of angular rate, x, y, z."""

    @property
    def magnetometer(self) -> Sequence[str] | None:
        """Channels of the magnetic field, x, y, z."""


class SensorUnits(Protocol):
    """The declared units; None where the recording declares its own."""

    @property
    def accelerometer(self) -> str | None:
        """One of "m/s^2" and "g"."""

    @property
    def gyroscope(self) -> str | None:
        """One of "rad/s" and "deg/s"."""

    @property
    def magnetometer(self) -> str | None:
        """One of "uT", "gauss" and "normalised"."""


class InertialSettings(Protocol):
    """What `[wearable]` of kind "inertial" says; `twinangle.study.InertialWearable` is one."""

    @property
    def proximal(self) -> SensorColumns:
        """Channels of the sensor on the segment nearer the trunk."""

    @property
    def distal(self) -> SensorColumns:
        """Channels of the sensor on the other segment."""

    @property
    def units(self) -> SensorUnits:
        """Units of both sensors' channels."""

    @property
    def gyroscope_sample(self) -> GyroscopeSample:
        """What the device's rate at a sample stands for."""


class OrientationSettings(Protocol):
    """What a section of kind "orientation" says of its two segments."""

    @property
    def proximal(self) -> QuaternionColumns:
        """Channels of the segment nearer the trunk."""

    @property
    def distal(self) -> QuaternionColumns:
        """Channels of the other segment."""
