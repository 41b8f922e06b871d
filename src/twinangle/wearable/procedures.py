"""Named procedures from a trial's signals to the joint's motion, and the registry they live in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from twinangle.errors import AngleError
from twinangle.recording import (
    InertialRecording,
    JointMotion,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.wearable import orientation
from twinangle.wearable.calibration import measure_motion
from twinangle.wearable.trial import WearableTrial, orient_trial

__all__ = ["PROCEDURES", "Procedure", "WearableTrial", "estimate_motion", "with_filter"]

OrientationFilter = Callable[[InertialRecording], OrientationRecording]
Procedure = Callable[[WearableTrial], JointMotion]


def with_filter(orientation_filter: OrientationFilter) -> Procedure:
    """Return the procedure that orients each sensor with its magnetometer by `orientation_filter`.

    Parameters
    ----------
    orientation_filter : callable
        From one sensor's recording to its orientation in the earth frame.

    Returns
    -------
    callable
        From a trial of raw signals to the joint's motion. It refuses (AngleError) orientations
        and sensors without a magnetometer, whose headings have nothing in common.
    """

    def orient(pair: SensorPair) -> OrientationPair:
        for sensor, name in ((pair.proximal, "proximal"), (pair.distal, "distal")):
            if sensor.magnetometer is None:
                raise AngleError(
                    f"the {name} sensor ({sensor.source}) has no magnetometer, so this procedure "
                    "cannot know how the two sensors are turned to each other about the "
                    f"vertical. Declare `magnetometer` in [wearable.{name}], or choose a "
                    "procedure that needs none, such as 'kalman-joint-centre'."
                )
        return OrientationPair(orientation_filter(pair.proximal), orientation_filter(pair.distal))

    def procedure(trial: WearableTrial) -> JointMotion:
        _require_signals(trial)
        return measure_motion(trial, orient_trial(trial, orient))

    return procedure


def from_orientations(trial: WearableTrial) -> JointMotion:
    """Use the orientations a wearable delivers as they are.

    Raises
    ------
    AngleError
        If the trial holds raw signals instead.
    """
    if isinstance(trial.walk, SensorPair):
        raise AngleError(
            "the procedure 'orientation' takes quaternions, but the trial holds raw signals. "
            'Choose another procedure, or declare kind = "orientation" in [wearable].'
        )
    return measure_motion(trial, orient_trial(trial, _already_oriented))


def estimate_motion(trial: WearableTrial, procedure: str) -> JointMotion:
    """Estimate the joint's flexion angle over a trial by a named procedure.

    Parameters
    ----------
    trial : WearableTrial
        Signals or orientations of the two sensors, with neutral standing and functional movement.
    procedure : str
        A key of `PROCEDURES`.

    Returns
    -------
    JointMotion
        Flexion in degrees, positive, neutral standing at `trial.standing_deg`; NaN in gaps.

    Raises
    ------
    AngleError
        If no procedure has that name, or it cannot give an angle from these signals.
    """
    if procedure not in PROCEDURES:
        known = ", ".join(f"'{name}'" for name in PROCEDURES)
        raise AngleError(f"procedure: expected one of {known}, got '{procedure}'.")
    return PROCEDURES[procedure](trial)


def _require_signals(trial: WearableTrial) -> None:
    if not isinstance(trial.walk, SensorPair):
        raise AngleError(
            "this procedure takes raw signals, but the trial holds orientations. Choose the "
            "procedure 'orientation', or declare kind = \"inertial\" in [wearable]."
        )


def _already_oriented(pair: SensorPair) -> OrientationPair:
    raise AngleError("the trial mixes orientations with raw signals; give one kind throughout.")


PROCEDURES: Mapping[str, Procedure] = MappingProxyType(
    {
        "kalman": with_filter(orientation.kalman),
        "kalman-forward": with_filter(orientation.kalman_forward),
        "vqf": with_filter(orientation.vqf_offline),
        "vqf-forward": with_filter(orientation.vqf_forward),
        "orientation": from_orientations,
    }
)
