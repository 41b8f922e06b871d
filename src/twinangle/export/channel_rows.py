"""What each column of a recording is, in the words of `_channels.tsv`.

Keywords of the columns `type` and `component` as BIDS 1.9 restricts them (page "Motion"); the first
five columns and their order are the required ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from twinangle.signals.joint import joint_named
from twinangle.signals.recording import Recording
from twinangle.study import (
    AngleReference,
    AngleWearable,
    InertialWearable,
    MarkerReference,
    OrientationReference,
    OrientationWearable,
    Reference,
    Wearable,
)

COLUMNS = ("name", "component", "type", "tracked_point", "units", "reference_frame")
COUNTED = ("ACCEL", "GYRO", "MAGN", "ORNT", "POS", "JNTANG", "LATENCY", "MISC")
INSTRUMENTS = {"accelerometer": "ACCEL", "gyroscope": "GYRO", "magnetometer": "MAGN"}
QUATERNION = ("quat_w", "quat_x", "quat_y", "quat_z")
FRAMES = {
    "sensor": "right-handed frame of the sensor itself",
    "earth": "the sensor's frame against a frame of the earth, z upwards",
    "laboratory": "frame of the laboratory, as the recording has it",
}


@dataclass(frozen=True, slots=True)
class Channel:
    """One row of `_channels.tsv`; None is `n/a`."""

    name: str
    component: str | None
    type: str
    tracked_point: str | None
    units: str | None
    reference_frame: str | None = None

    @property
    def row(self) -> tuple[str | None, ...]:
        """The cells in the order of `COLUMNS`."""
        return (
            self.name,
            self.component,
            self.type,
            self.tracked_point,
            self.units,
            self.reference_frame,
        )


def latency(name: str) -> Channel:
    """Return the channel of seconds from the first sample."""
    return Channel(name, None, "LATENCY", None, "s")


def own_clock(name: str) -> Channel:
    """Return the channel of times on the recording's own clock."""
    return Channel(name, None, "MISC", None, "s")


def describe(
    recording: Recording, settings: Wearable | Reference, joint: str, side: str
) -> list[Channel]:
    """Return the channels of a recording in its order; what the study does not name is MISC.

    A unit that the file declares stands before the one the study declares.
    """
    known = {channel.name: channel for channel in _channels(settings, joint, side)}
    found = []
    for name, unit in zip(recording.channels, recording.units, strict=True):
        channel = known.get(name, Channel(name, None, "MISC", None, None))
        found.append(
            Channel(
                name,
                channel.component,
                channel.type,
                channel.tracked_point,
                unit or channel.units,
                channel.reference_frame,
            )
        )
    return found


def _channels(settings: Wearable | Reference, joint: str, side: str) -> Iterator[Channel]:
    match settings:
        case InertialWearable():
            for segment in ("proximal", "distal"):
                yield from _inertial(settings, segment, joint_named(joint).tracked(segment, side))
        case OrientationWearable() | OrientationReference():
            frame = "earth" if isinstance(settings, OrientationWearable) else "laboratory"
            for segment in ("proximal", "distal"):
                point = joint_named(joint).tracked(segment, side)
                names = getattr(settings, segment).quaternion
                for name, component in zip(names, QUATERNION, strict=True):
                    yield Channel(name, component, "ORNT", point, None, frame)
        case AngleWearable() | AngleReference():
            yield from _angles(settings.columns, settings.unit, joint, side)
        case MarkerReference():
            markers = dict.fromkeys((*settings.proximal.names, *settings.distal.names))
            axes = settings.plane if settings.method == "sagittal" else ("x", "y", "z")
            for marker in markers:
                for name, axis in zip(settings.marker_axes(marker), axes, strict=True):
                    yield Channel(name, axis, "POS", marker, settings.unit, "laboratory")


def _inertial(settings: InertialWearable, segment: str, point: str) -> Iterator[Channel]:
    for instrument, kind in INSTRUMENTS.items():
        unit = getattr(settings.units, instrument)
        names = getattr(getattr(settings, segment), instrument) or ()
        for name, axis in zip(names, "xyz", strict=False):
            declared = None if unit == "normalised" else unit
            yield Channel(name, axis, kind, point, declared, "sensor")


def _angles(names: Sequence[str], unit: str, joint: str, side: str) -> Iterator[Channel]:
    """Yield joint angles; volts are no angle yet."""
    point = side + joint[0].upper() + joint[1:] if side else joint
    for name in names:
        yield Channel(name, None, "MISC" if unit == "V" else "JNTANG", point, unit)
