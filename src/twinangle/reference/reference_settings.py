"""What `[reference]` says, as the reading of a reference asks for it."""

from __future__ import annotations

from typing import Protocol

from twinangle.reference.optical import MarkerSettings
from twinangle.signals.channel_checks import (
    QuaternionColumns,
)


class ReferenceSettings(Protocol):
    """What `[reference]` says, as far as every kind says it; `twinangle.study` has the models."""

    @property
    def kind(self) -> str:
        """One of "angle", "orientation" and "markers"."""

    @property
    def offset(self) -> float:
        """Degrees added before the sign is applied."""

    @property
    def sign(self) -> int:
        """Either 1, or -1 where flexion is negative."""

    @property
    def filter_hz(self) -> float | None:
        """Cut-off of the low-pass filter, if there is one."""


class AngleSettings(ReferenceSettings, Protocol):
    """What `[reference]` of kind "angle" says besides."""

    @property
    def angle(self) -> str:
        """The angle's channel."""

    @property
    def unit(self) -> str:
        """One of "deg", "rad" and "V"."""

    @property
    def gain(self) -> float | None:
        """Degrees per unit."""

    @property
    def limits(self) -> tuple[float, float] | None:
        """The instrument's range, in the channel's unit."""

    @property
    def second_plane(self) -> str | None:
        """The channel of the other plane of a two-plane instrument."""

    @property
    def crosstalk(self) -> float | None:
        """Degrees of false flexion per unit of the other plane."""


class OrientationSettings(ReferenceSettings, Protocol):
    """What `[reference]` of kind "orientation" says besides."""

    @property
    def proximal(self) -> QuaternionColumns:
        """Channels of the segment nearer the trunk."""

    @property
    def distal(self) -> QuaternionColumns:
        """Channels of the other segment."""

    @property
    def flexion_axis(self) -> str:
        """The frames' mediolateral axis."""

    @property
    def long_axis(self) -> str:
        """The axis along the segment."""


class OpticalSettings(ReferenceSettings, MarkerSettings, Protocol):
    """What `[reference]` of kind "markers" says besides."""
