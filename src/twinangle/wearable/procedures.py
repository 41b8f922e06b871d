"""Named procedures from a trial's signals to the joint's motion, and the registry they live in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType

from twinangle.errors import AngleError
from twinangle.signals.gaps import bridge_pair
from twinangle.signals.recording import (
    InertialRecording,
    JointMotion,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.wearable import orientation
from twinangle.wearable.calibration import measure_motion
from twinangle.wearable.heading.hinge import hinge_heading
from twinangle.wearable.heading.relative import joint_centre_heading
from twinangle.wearable.heading.six_axis import FindHeading, orient_without_magnetometers
from twinangle.wearable.heading.two_sensors import JointlyOriented, orient_jointly
from twinangle.wearable.kalman.parameters import KalmanParameters
from twinangle.wearable.own_procedure import (
    OwnProcedure,
    find_procedure,
    registered_procedures,
    run_procedure,
)
from twinangle.wearable.procedure_input import WearableTrial, orient_trial

__all__ = [
    "PROCEDURES",
    "Procedure",
    "WearableTrial",
    "estimate_motion",
    "require_procedure",
    "trusts_each_field",
    "with_both",
    "with_filter",
    "without_magnetometers",
]

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
        _require_magnetometers(pair)
        return OrientationPair(orientation_filter(pair.proximal), orientation_filter(pair.distal))

    def procedure(trial: WearableTrial) -> JointMotion:
        _require_signals(trial)
        return measure_motion(trial, orient_trial(trial, orient))

    return procedure


def with_both(parameters: KalmanParameters | None = None) -> Procedure:
    """Return the procedure in which the two sensors' magnetic headings help each other.

    Like :func:`with_filter` with `kalman`, but the sensors of each recording are oriented by
    :func:`~twinangle.wearable.heading.two_sensors.orient_jointly`. Recordings in which the joint
    centre cannot tell the heading, such as standing alone, fall back on each sensor's own, with a
    warning.

    Parameters
    ----------
    parameters : KalmanParameters, optional
        Of one sensor; the defaults when left out.
    """

    def procedure(trial: WearableTrial) -> JointMotion:
        _require_signals(trial)
        found: list[JointlyOriented] = []

        def orient(pair: SensorPair) -> OrientationPair:
            _require_magnetometers(pair)
            voting = trial.voting if pair is trial.walk else pair
            assert isinstance(voting, SensorPair)
            found.append(orient_jointly(pair, parameters=parameters, voting=voting))
            return found[-1].pair

        oriented = orient_trial(trial, orient)
        return measure_motion(
            trial,
            replace(
                oriented,
                heading_uncertainty_deg=max(one.relative_uncertainty_deg for one in found),
                warnings=(
                    *oriented.warnings,
                    *(warning for one in found for warning in one.warnings),
                ),
            ),
        )

    return procedure


def without_magnetometers(
    orientation_filter: OrientationFilter, find_heading: FindHeading
) -> Procedure:
    """Return the procedure that leaves magnetometers out and finds the heading by `find_heading`.

    Parameters
    ----------
    orientation_filter : callable
        From one sensor's recording (without magnetometer) to its orientation.
    find_heading : callable
        From both sensors' signals and orientations to their heading difference:
        `joint_centre_heading` or `hinge_heading`.
    """

    def procedure(trial: WearableTrial) -> JointMotion:
        _require_signals(trial)
        oriented = orient_without_magnetometers(trial, orientation_filter, find_heading)
        return measure_motion(trial, oriented)

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
        A key of `PROCEDURES`, a name in the entry-point group `twinangle.procedures`, or
        ``module:function``.

    Returns
    -------
    JointMotion
        Flexion in degrees, positive, neutral standing at `trial.standing_deg`; NaN in gaps longer
        than :data:`twinangle.signals.gaps.BRIDGED_S`, which every procedure gets bridged.

    Raises
    ------
    AngleError
        If no procedure has that name, or it cannot give an angle from these signals.
    """
    trial = _bridged(trial)
    if procedure in PROCEDURES:
        return PROCEDURES[procedure](trial)
    return run_procedure(_own(procedure), trial, procedure)


def _bridged(trial: WearableTrial) -> WearableTrial:
    """Bridge the short gaps of raw signals once, for angle, rates and checks alike."""
    walk, static, functional = trial.walk, trial.static, trial.functional
    return replace(
        trial,
        walk=bridge_pair(walk) if isinstance(walk, SensorPair) else walk,
        static=bridge_pair(static) if isinstance(static, SensorPair) else static,
        functional=bridge_pair(functional) if isinstance(functional, SensorPair) else functional,
    )


def require_procedure(procedure: str) -> None:
    """Refuse a name that :func:`estimate_motion` would not know, before anything is computed.

    Raises
    ------
    AngleError
        If no procedure has that name, or the module it names cannot be imported.
    """
    if procedure not in PROCEDURES:
        _own(procedure)


def _own(procedure: str) -> OwnProcedure:
    function = find_procedure(procedure)
    if function is None:
        known = ", ".join(f"'{name}'" for name in (*PROCEDURES, *registered_procedures()))
        raise AngleError(
            f"procedure: expected one of {known}, or module:function, got '{procedure}'."
        )
    return function


def _require_signals(trial: WearableTrial) -> None:
    """Refuse orientations."""
    if not isinstance(trial.walk, SensorPair):
        raise AngleError(
            "this procedure takes raw signals, but the trial holds orientations. Choose the "
            "procedure 'orientation', or declare kind = \"inertial\" in [wearable]."
        )


def _require_magnetometers(pair: SensorPair) -> None:
    """Refuse sensors whose headings have nothing in common."""
    for sensor, name in ((pair.proximal, "proximal"), (pair.distal, "distal")):
        if sensor.magnetometer is None:
            raise AngleError(
                f"the {name} sensor ({sensor.source}) has no magnetometer, so this procedure "
                "cannot know how the two sensors are turned to each other about the "
                f"vertical. Declare `magnetometer` in [wearable.{name}], or choose a "
                "procedure that needs none, such as 'kalman-joint-centre'."
            )


def _already_oriented(pair: SensorPair) -> OrientationPair:
    raise AngleError("the trial mixes orientations with raw signals; give one kind throughout.")


_BY_EACH_FIELD: dict[str, Procedure] = {
    "kalman": with_filter(orientation.kalman),
    "kalman-forward": with_filter(orientation.kalman_forward),
    "vqf": with_filter(orientation.vqf_offline),
    "vqf-forward": with_filter(orientation.vqf_forward),
}
_BEYOND_ONE_FIELD: dict[str, Procedure] = {
    "kalman-two-sensors": with_both(),
    "kalman-joint-centre": without_magnetometers(orientation.kalman, joint_centre_heading),
    "vqf-joint-centre": without_magnetometers(orientation.vqf_offline, joint_centre_heading),
    "kalman-hinge": without_magnetometers(orientation.kalman, hinge_heading),
    "vqf-hinge": without_magnetometers(orientation.vqf_offline, hinge_heading),
    "orientation": from_orientations,
}
PROCEDURES: Mapping[str, Procedure] = MappingProxyType({**_BY_EACH_FIELD, **_BEYOND_ONE_FIELD})


def needs_magnetometers(name: str) -> bool:
    """Return whether one of our own procedures takes its heading from magnetometers."""
    return name in _BY_EACH_FIELD or name == "kalman-two-sensors"


def trusts_each_field(name: str) -> bool:
    """Return whether a procedure's headings rest on each magnetometer alone; an own one may."""
    return name not in _BEYOND_ONE_FIELD
