"""The values that travel: recordings, angles, cycles, clocks, with their units and signs.

Times are in seconds and each says on whose clock; angles are in degrees, flexion positive, neutral
standing 0; a gap is NaN.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from twinangle.signals.gaps import bridge
    from twinangle.signals.joint import JOINTS, Joint, Segment, joint_named
    from twinangle.signals.recording import (
        AngleQuality,
        AngleRecording,
        CycleSet,
        InertialRecording,
        Interval,
        JointMotion,
        MaskedStretch,
        OrientationPair,
        OrientationRecording,
        PairedAngles,
        Recording,
        SensorPair,
        Synchronisation,
    )
    from twinangle.signals.straight_line import Calibration, fit_calibration
    from twinangle.signals.timing import TimingReport, regularise

_HOME = {
    "AngleQuality": "recording",
    "AngleRecording": "recording",
    "Calibration": "straight_line",
    "CycleSet": "recording",
    "InertialRecording": "recording",
    "Interval": "recording",
    "JOINTS": "joint",
    "Joint": "joint",
    "JointMotion": "recording",
    "MaskedStretch": "recording",
    "OrientationPair": "recording",
    "OrientationRecording": "recording",
    "PairedAngles": "recording",
    "Recording": "recording",
    "Segment": "joint",
    "SensorPair": "recording",
    "Synchronisation": "recording",
    "TimingReport": "timing",
    "bridge": "gaps",
    "fit_calibration": "straight_line",
    "joint_named": "joint",
    "regularise": "timing",
}

__all__ = [
    "JOINTS",
    "AngleQuality",
    "AngleRecording",
    "Calibration",
    "CycleSet",
    "InertialRecording",
    "Interval",
    "Joint",
    "JointMotion",
    "MaskedStretch",
    "OrientationPair",
    "OrientationRecording",
    "PairedAngles",
    "Recording",
    "Segment",
    "SensorPair",
    "Synchronisation",
    "TimingReport",
    "bridge",
    "fit_calibration",
    "joint_named",
    "regularise",
]


def __getattr__(name: str) -> Any:
    """Import a public name on first use: many a command needs none of them."""
    if name not in _HOME:
        raise AttributeError(f"module 'twinangle.signals' has no attribute {name!r}")
    return getattr(import_module(f"twinangle.signals.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
