"""From the signals of two sensors to a joint's angle, each step alone with arrays.

:func:`estimate_motion` is all of them: orientation of each sensor (:func:`kalman`,
:func:`vqf_offline`), orientation of one segment seen from the other
(:func:`relative_orientation`), neutral standing (:func:`neutral_orientation`), the functional axis
(:func:`functional_axis`) and the angle about it (:func:`project_flexion`). Rotations are
quaternions, scalar first; rates are in rad/s, angles in degrees, flexion positive.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from twinangle.wearable.flexion import (
        FunctionalAxis,
        NeutralStanding,
        functional_axis,
        joint_rotation,
        neutral_orientation,
        project_flexion,
        relative_orientation,
        relative_rate,
        residual_angle,
    )
    from twinangle.wearable.orientation import kalman, kalman_forward, vqf_forward, vqf_offline
    from twinangle.wearable.own_procedure import registered_procedures
    from twinangle.wearable.procedure_input import WearableTrial
    from twinangle.wearable.procedures import estimate_motion
    from twinangle.wearable.saturation import Ceiling, find_ceilings
    from twinangle.wearable.sensor_pair import build_orientation_pair, build_sensor_pair
    from twinangle.wearable.unit_checks import sensor_warnings

_HOME = {
    "Ceiling": "saturation",
    "FunctionalAxis": "flexion",
    "NeutralStanding": "flexion",
    "WearableTrial": "procedure_input",
    "build_orientation_pair": "sensor_pair",
    "build_sensor_pair": "sensor_pair",
    "estimate_motion": "procedures",
    "find_ceilings": "saturation",
    "functional_axis": "flexion",
    "joint_rotation": "flexion",
    "kalman": "orientation",
    "kalman_forward": "orientation",
    "neutral_orientation": "flexion",
    "project_flexion": "flexion",
    "registered_procedures": "own_procedure",
    "relative_orientation": "flexion",
    "relative_rate": "flexion",
    "residual_angle": "flexion",
    "sensor_warnings": "unit_checks",
    "vqf_forward": "orientation",
    "vqf_offline": "orientation",
}

__all__ = [
    "Ceiling",
    "FunctionalAxis",
    "NeutralStanding",
    "WearableTrial",
    "build_orientation_pair",
    "build_sensor_pair",
    "estimate_motion",
    "find_ceilings",
    "functional_axis",
    "joint_rotation",
    "kalman",
    "kalman_forward",
    "neutral_orientation",
    "project_flexion",
    "registered_procedures",
    "relative_orientation",
    "relative_rate",
    "residual_angle",
    "sensor_warnings",
    "vqf_forward",
    "vqf_offline",
]


def __getattr__(name: str) -> Any:
    """Import a public name on first use: many a command needs none of them."""
    if name not in _HOME:
        raise AttributeError(f"module 'twinangle.wearable' has no attribute {name!r}")
    return getattr(import_module(f"twinangle.wearable.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
