"""What a procedure is given, one trial of one joint, and its oriented form."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from twinangle.errors import AngleError
from twinangle.signals.recording import (
    InertialRecording,
    Interval,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)

AxisMethod = Literal["mean-rate", "principal-component", "hinge"]


@dataclass(frozen=True, slots=True, eq=False)
class WearableTrial:
    """One trial of the wearable, and where its neutral standing and functional movement are.

    Parameters
    ----------
    walk : SensorPair or OrientationPair
        The recording to be analysed.
    static, functional : Interval, SensorPair, OrientationPair or None
        Neutral standing and the functional flexion movement: a stretch on the walk's clock, or a
        recording of its own, of the same kind as the walk.
    joint, side : str
        For messages.
    standing_deg : float
        Flexion in neutral standing, from the reference or the researcher; 0 by convention.
    axis_method : {"mean-rate", "principal-component", "hinge"}
        How the flexion axis is found in the functional movement: see
        :func:`~twinangle.wearable.flexion.functional_axis`, and
        :func:`~twinangle.wearable.heading.hinge.hinge_axes` for the last, which a joint that is no
        pure hinge tilts.
    analysed : Interval, optional
        The stretch of the walk that is to be analysed. What lies outside has no vote on heading,
        axis and sign; None for the whole of it.
    walking : bool
        Whether the movement is walking, in which a shank turns faster than its thigh.
    """

    walk: SensorPair | OrientationPair
    static: Interval | SensorPair | OrientationPair | None = None
    functional: Interval | SensorPair | OrientationPair | None = None
    joint: str = "knee"
    side: str = ""
    standing_deg: float = 0.0
    axis_method: AxisMethod = "mean-rate"
    analysed: Interval | None = None
    walking: bool = True

    def __post_init__(self) -> None:
        if self.axis_method not in get_args(AxisMethod):
            raise ValueError(
                f"`axis_method` must be one of {get_args(AxisMethod)}, got {self.axis_method!r}."
            )
        if not np.isfinite(self.standing_deg):
            raise ValueError(f"`standing_deg` must be a number, got {self.standing_deg!r}.")
        for name in ("static", "functional"):
            part = getattr(self, name)
            if part is not None and not isinstance(part, (Interval, type(self.walk))):
                raise AngleError(
                    f"the {name} recording holds {_kind(part)} but the walk holds "
                    f"{_kind(self.walk)}; both must be of one kind."
                )

    @property
    def voting(self) -> SensorPair | OrientationPair:
        """The walk, raw signals left blank where they are not to be analysed."""
        if self.analysed is None:
            return self.walk
        if isinstance(self.walk, OrientationPair):
            return self.walk
        return SensorPair(
            _blanked(self.walk.proximal, self.analysed), _blanked(self.walk.distal, self.analysed)
        )


def _blanked(sensor: InertialRecording, kept: Interval) -> InertialRecording:
    """Return a sensor whose samples outside a stretch are missing."""
    edge = 1e-6 / sensor.rate_hz
    time = sensor.time_s
    inside = ((time >= kept.start_s - edge) & (time <= kept.end_s + edge))[:, None]
    if inside.all():
        return sensor
    field = sensor.magnetometer
    return replace(
        sensor,
        accelerometer=np.where(inside, sensor.accelerometer, np.nan),
        gyroscope=np.where(inside, sensor.gyroscope, np.nan),
        magnetometer=None if field is None else np.where(inside, field, np.nan),
    )


@dataclass(frozen=True, slots=True, eq=False)
class OrientedTrial:
    """Orientations of both sensors: the whole walk, and neutral standing and functional alone.

    Within each of the three the two sensors share one earth frame.
    """

    walk: OrientationPair
    static: OrientationPair
    functional: OrientationPair | None
    heading_uncertainty_deg: float = float("nan")
    warnings: tuple[str, ...] = ()


def orient_trial(
    trial: WearableTrial, orient: Callable[[SensorPair], OrientationPair]
) -> OrientedTrial:
    """Apply `orient` to each recording of the trial and cut out standing and functional.

    Orientations that are already there are used as they are.

    Raises
    ------
    AngleError
        If there is no neutral standing, or an interval lies outside the walk.
    """
    warnings: list[str] = []

    def of(pair: SensorPair | OrientationPair) -> OrientationPair:
        oriented = pair if isinstance(pair, OrientationPair) else orient(pair)
        warnings.extend(oriented.warnings)
        return oriented

    static = require_static(trial)
    walk = of(trial.walk)

    def cut(part: Interval | SensorPair | OrientationPair, name: str) -> OrientationPair:
        return slice_pair(walk, part, name) if isinstance(part, Interval) else of(part)

    functional = None if trial.functional is None else cut(trial.functional, "functional")
    return OrientedTrial(walk, cut(static, "static"), functional, warnings=tuple(warnings))


def require_static(trial: WearableTrial) -> Interval | SensorPair | OrientationPair:
    """Return the trial's neutral standing.

    Raises
    ------
    AngleError
        If there is none.
    """
    if trial.static is None:
        raise AngleError(
            "no neutral standing is given, so the sensors' mounting is unknown. Give "
            "`static_start_s` and `static_end_s` (a few seconds of quiet standing on the "
            "wearable's clock), or a `static` file, in the trials table."
        )
    return trial.static


def slice_samples(
    start_s: float, rate_hz: float, n_samples: int, interval: Interval, name: str
) -> slice:
    """Return the samples of a uniform clock inside an interval, both ends included.

    Raises
    ------
    AngleError
        If the interval reaches outside the recording by more than a sample, or holds none.
    """
    first = int(np.ceil((interval.start_s - start_s) * rate_hz - 1e-6))
    last = int(np.floor((interval.end_s - start_s) * rate_hz + 1e-6))
    if first < -1 or last > n_samples or last < first:
        end_s = start_s + (n_samples - 1) / rate_hz
        raise AngleError(
            f"the {name} interval, {interval.start_s:g} to {interval.end_s:g} s, must hold samples "
            f"of the recording and lie inside it: {start_s:g} to {end_s:g} s on its own clock."
        )
    return slice(max(first, 0), min(last + 1, n_samples))


def slice_pair(pair: OrientationPair, interval: Interval, name: str) -> OrientationPair:
    """Return the stretch of both orientations inside an interval of their clock."""
    one = pair.proximal
    part = slice_samples(one.start_s, one.rate_hz, one.quaternion.shape[0], interval, name)

    def cut(recording: OrientationRecording) -> OrientationRecording:
        return replace(
            recording,
            quaternion=recording.quaternion[part],
            start_s=recording.start_s + part.start / recording.rate_hz,
        )

    return OrientationPair(cut(pair.proximal), cut(pair.distal))


def _kind(part: object) -> str:
    return "raw signals" if isinstance(part, SensorPair) else "orientations"
