"""A researcher's own procedure, found by name and held to the same form as ours.

A procedure takes a :class:`~twinangle.wearable.procedure_input.WearableTrial` and returns a
`JointMotion`, an `AngleRecording`, or the flexion angle in degrees as an array with one value a
sample of the walk. It is named ``module:function``, or registered in the entry-point group
``twinangle.procedures``.
"""

from __future__ import annotations

import importlib
import inspect
import traceback
from collections.abc import Callable
from dataclasses import replace
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

import numpy as np

from twinangle.errors import AngleError
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    JointMotion,
    OrientationRecording,
    SensorPair,
)
from twinangle.visible import make_visible
from twinangle.wearable import quaternions
from twinangle.wearable.orientation import vqf_offline
from twinangle.wearable.procedure_input import WearableTrial

ENTRY_POINT_GROUP = "twinangle.procedures"

PACKAGE = Path(__file__).parents[1]
MOST_TEXT = 100  # letters of a line that are shown

OwnProcedure = Callable[[WearableTrial], Any]


def registered_procedures() -> tuple[str, ...]:
    """Return the names in the entry-point group, sorted.

    Returns
    -------
    tuple of str
    """
    return tuple(sorted(point.name for point in entry_points(group=ENTRY_POINT_GROUP)))


def find_procedure(name: str) -> OwnProcedure | None:
    """Return the own procedure of that name, or None when there is none.

    Parameters
    ----------
    name : str
        ``module:function``, or a name in the entry-point group.

    Raises
    ------
    AngleError
        If the module cannot be imported or does not hold that function.
    """
    if ":" in name:
        return _import(name)
    for point in entry_points(group=ENTRY_POINT_GROUP):
        if point.name == name:
            return _import(point.value, f" (entry point '{name}')")
    return None


def run_procedure(function: OwnProcedure, trial: WearableTrial, name: str) -> JointMotion:
    """Run an own procedure and bring its result into our form.

    Missing rates are supplied, so that cycles can be found as for any other procedure: the distal
    sensor's rate along its own principal axis, and about the vertical.

    Raises
    ------
    AngleError
        If it fails, whatever it raises, or returns something else than one angle a sample.
    """
    try:
        result = function(trial)
    except AngleError:
        raise
    except Exception as error:
        raise AngleError(
            f"procedure '{name}' failed{_own_line(error, function)}: {type(error).__name__}: "
            f"{error}"
        ) from error
    return _with_rates(_as_motion(result, trial, name), trial)


def _import(target: str, beside: str = "") -> OwnProcedure:
    module_name, _, attribute = target.partition(":")
    try:
        found: Any = importlib.import_module(module_name)
    except Exception as error:
        raise AngleError(
            f"procedure '{target}'{beside}: the module '{module_name}' cannot be imported"
            f"{_own_line(error)} ({type(error).__name__}: {error}). It must be installed, or its "
            "folder be named in PYTHONPATH."
        ) from error
    for part in attribute.split("."):
        found = getattr(found, part, None)
    if not callable(found):
        raise AngleError(
            f"procedure '{target}'{beside}: the module '{module_name}' holds no function "
            f"'{attribute}'."
        )
    function: OwnProcedure = found
    return function


def _own_line(error: BaseException, function: OwnProcedure | None = None) -> str:
    """Return file, line and text of the researcher's own code where an error came up.

    The deepest line in the file of `function`; without one, the deepest that is neither ours nor
    of the import itself. Empty where there is none. The file's name stands alone: its folder is
    nobody's business in a report.
    """
    code = None if function is None else getattr(inspect.unwrap(function), "__code__", None)
    home = None if code is None else code.co_filename
    frames = [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if (frame.filename == home if home is not None else _is_foreign(frame.filename))
    ]
    if not frames:
        return ""
    last = frames[-1]
    text = make_visible((last.line or "").strip())
    shown = (
        f" (`{text if len(text) <= MOST_TEXT else text[: MOST_TEXT - 1] + '…'}`)" if text else ""
    )
    return f" in {Path(last.filename).name}, line {last.lineno}{shown}"


def _is_foreign(filename: str) -> bool:
    ours = Path(filename).is_relative_to(PACKAGE)
    return not (ours or filename.startswith("<") or Path(filename).parent.name == "importlib")


def _as_motion(result: object, trial: WearableTrial, name: str) -> JointMotion:
    if isinstance(result, AngleRecording):
        result = JointMotion(result)
    if not isinstance(result, JointMotion):
        result = JointMotion(_as_angle(result, trial, name))
    clock = _clock(trial)
    angle = result.angle
    if (
        angle.angle_deg.shape != (clock[2],)
        or abs(angle.start_s - clock[0]) * clock[1] > 0.5
        or not np.isclose(angle.rate_hz, clock[1])
    ):
        raise AngleError(
            f"procedure '{name}' returned an angle of shape {angle.angle_deg.shape} from "
            f"{angle.start_s:g} s at {angle.rate_hz:g} Hz; expected one value a sample of the "
            f"walk: ({clock[2]},) from {clock[0]:g} s at {clock[1]:g} Hz."
        )
    if not np.isfinite(angle.angle_deg).any() or np.isinf(angle.angle_deg).any():
        raise AngleError(
            f"procedure '{name}' returned no finite angle, or an infinite one; NaN marks a gap."
        )
    return result


def _as_angle(result: object, trial: WearableTrial, name: str) -> AngleRecording:
    try:
        values = np.asarray(result, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise AngleError(
            f"procedure '{name}' returned a {type(result).__name__}; expected a JointMotion, an "
            "AngleRecording or an array of degrees."
        ) from error
    start_s, rate_hz, _ = _clock(trial)
    return AngleRecording(values, start_s, rate_hz, f"procedure {name}")


def _clock(trial: WearableTrial) -> tuple[float, float, int]:
    distal = trial.walk.distal
    n = distal.quaternion if isinstance(distal, OrientationRecording) else distal.gyroscope
    return distal.start_s, distal.rate_hz, int(n.shape[0])


def _with_rates(motion: JointMotion, trial: WearableTrial) -> JointMotion:
    if motion.sagittal_rate_rad_s is not None and motion.vertical_rate_rad_s is not None:
        return motion
    if isinstance(trial.walk, SensorPair):
        rate = trial.walk.distal.gyroscope
        quaternion = vqf_offline(trial.walk.distal.without_magnetometer()).quaternion
    else:
        quaternion = trial.walk.distal.quaternion
        rate = quaternions.body_rate(quaternion, trial.walk.distal.rate_hz)
    sagittal, vertical = motion.sagittal_rate_rad_s, motion.vertical_rate_rad_s
    return replace(
        motion,
        sagittal_rate_rad_s=_principal(rate) if sagittal is None else sagittal,
        vertical_rate_rad_s=(
            quaternions.rotate(quaternion, rate)[:, 2] if vertical is None else vertical
        ),
    )


def _principal(rate: Array) -> Array:
    known = rate[np.isfinite(rate).all(axis=1)]
    return np.asarray(rate @ np.linalg.eigh(known.T @ known)[1][:, -1])
