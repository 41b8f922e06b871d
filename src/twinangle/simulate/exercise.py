"""One simulated exercise: standing, functional movement and repetitions, as two instruments see it.

Invented throughout; nothing comes from a recorded person.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from twinangle.checks import require_positive
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    Interval,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.simulate.body import Pose, Segment, Side
from twinangle.simulate.field import make_field
from twinangle.simulate.instruments import (
    ReferenceErrors,
    SegmentSensor,
    SensorErrors,
    record_reference,
    record_sensor,
    sample_motion,
)
from twinangle.simulate.repetitions import (
    ArmExercise,
    LegExercise,
    Movement,
    Repetitions,
    plan_repetitions,
)

# Mean change of the joint's angle in a repetition, degrees; invented.
SIZE_DEG: dict[Movement, float] = {"curl": 115.0, "squat": 90.0, "seated-extension": 80.0}
# Where a sensor is strapped, from the joint above, on the outer side of the left limb.
_ARM_M: dict[Segment, tuple[float, float, float]] = {
    "thigh": (0.02, 0.07, -0.24),
    "shank": (0.01, 0.04, -0.17),
    "upper arm": (0.01, 0.05, -0.19),
    "forearm": (0.01, 0.03, -0.18),
}


@dataclass(frozen=True, slots=True)
class ExerciseSettings:
    """Everything about a simulated exercise but chance.

    Parameters
    ----------
    movement : {"curl", "squat", "seated-extension"}
        Elbow flexion with the forearm turning, knee flexion on one's feet, or knee extension in
        sitting.
    sets, repetitions : int
        Sets, and repetitions in each.
    repetition_s, repetition_cv, rest_s : float
        Mean duration of a repetition, its coefficient of variation, and the rest between sets.
    size_sd_deg : float
        SD of how far a repetition moves the joint; the mean is `SIZE_DEG`.
    pronation_deg, swing_deg : float
        In curls, how far the forearm turns about its long axis, and the upper arm swings.
    out_of_plane_deg, soft_tissue_deg : float
        Rotation locked to knee flexion (at 60°), and skin motion locked to the repetition.

    Every other field is as in :class:`twinangle.simulate.WalkSettings`.

    Raises
    ------
    ValueError
        If a duration, number or rate is not above zero, or standing lasts 2 s or less.
    """

    movement: Movement = "curl"
    sets: int = 2
    repetitions: int = 9
    repetition_s: float = 3.0
    repetition_cv: float = 0.04
    rest_s: float = 9.0
    size_sd_deg: float = 3.0
    pronation_deg: float = 70.0
    swing_deg: float = 6.0
    standing_s: float = 8.0
    functional_repetitions: int = 5
    functional_deg: float = 70.0
    out_of_plane_deg: float = 0.0
    soft_tissue_deg: float = 0.0
    side: Side = "left"
    rate_hz: float = 100.0
    sensor_errors: SensorErrors = field(default_factory=SensorErrors)
    field_ut: float = 48.0
    dip_deg: float = 66.0
    floor_ut: float = 0.0
    reference_rate_hz: float = 200.0
    reference_errors: ReferenceErrors = field(default_factory=ReferenceErrors)
    lag_s: float = 2.75
    drift_ppm: float = 35.0

    def __post_init__(self) -> None:
        if self.movement not in SIZE_DEG:
            raise ValueError(
                f"`movement` must be one of {', '.join(SIZE_DEG)}, got {self.movement!r}."
            )
        for name in ("sets", "repetitions", "repetition_s", "rate_hz", "reference_rate_hz"):
            require_positive(getattr(self, name), name)
        if not self.standing_s > 2.0:
            raise ValueError(f"`standing_s` must be above 2 s, got {self.standing_s:g}.")

    @property
    def joint(self) -> str:
        """The joint that moves, as a study file names it."""
        return "elbow" if self.movement == "curl" else "knee"

    @property
    def segments(self) -> tuple[Segment, Segment]:
        """The segments either side of it."""
        return ("upper arm", "forearm") if self.movement == "curl" else ("thigh", "shank")


@dataclass(frozen=True, slots=True, eq=False)
class ExerciseTruth:
    """What no instrument sees, on the wearable's clock.

    `angle` is the true flexion and `sensors` map sensor to earth; `starts_s` and `ends_s` (m,)
    bound the repetitions, `curves_deg` (m, 101) is the true flexion over each.
    """

    angle: AngleRecording
    sensors: OrientationPair
    starts_s: Array
    ends_s: Array
    curves_deg: Array
    sets: tuple[Interval, ...]
    lag_s: float
    drift_ppm: float


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedExercise:
    """What two instruments recorded of a simulated exercise, and the truth beside it.

    `sensors`, `static` and `functional` are on the wearable's clock, `reference` is on its own.
    """

    joint: str
    sensors: SensorPair
    reference: AngleRecording
    static: Interval
    functional: Interval
    truth: ExerciseTruth


def simulate_exercise(
    *, rng: np.random.Generator, settings: ExerciseSettings | None = None, **changes: Any
) -> SimulatedExercise:
    """Simulate one recording of an exercise: standing, functional flexion, then repetitions.

    Parameters
    ----------
    rng : numpy.random.Generator
        The only source of chance: the same state gives the same recording to the last bit.
    settings : ExerciseSettings, optional
        The defaults when left out.
    **changes
        Fields of :class:`ExerciseSettings` that differ from `settings`.

    Returns
    -------
    SimulatedExercise

    Raises
    ------
    TypeError
        If a change names no field of :class:`ExerciseSettings`.
    ValueError
        If a setting is out of range, see :class:`ExerciseSettings`.
    """
    chosen = replace(settings or ExerciseSettings(), **changes)
    repetitions = _draw_repetitions(chosen, rng)
    body = _draw_body(chosen, repetitions, rng)
    place = make_field(
        rng=rng, norm_ut=chosen.field_ut, dip_deg=chosen.dip_deg, floor_ut=chosen.floor_ut
    )
    straps = [_strap(body, segment, chosen, rng) for segment in chosen.segments]
    n_samples = int(repetitions.duration_s * chosen.rate_hz) + 1
    motion = sample_motion(
        body,
        n_samples=n_samples,
        rate_hz=chosen.rate_hz,
        gyroscope_sample="instantaneous",
        magnetometer_lag_s=chosen.sensor_errors.magnetometer_lag_s,
    )
    proximal, distal = (
        record_sensor(strap, motion, place, rng=rng, errors=chosen.sensor_errors)
        for strap in straps
    )
    return SimulatedExercise(
        joint=chosen.joint,
        sensors=SensorPair(proximal, distal),
        reference=_reference(body, repetitions, chosen, rng),
        static=repetitions.standing,
        functional=repetitions.functional,
        truth=_truth(body, repetitions, straps, motion.around[2], chosen),
    )


def _draw_repetitions(chosen: ExerciseSettings, rng: np.random.Generator) -> Repetitions:
    return plan_repetitions(
        rng=rng,
        standing_s=chosen.standing_s,
        functional_repetitions=chosen.functional_repetitions,
        functional_deg=chosen.functional_deg,
        sets=chosen.sets,
        repetitions=chosen.repetitions,
        repetition_s=chosen.repetition_s,
        repetition_cv=chosen.repetition_cv,
        rest_s=chosen.rest_s,
        size_deg=SIZE_DEG[chosen.movement],
        size_sd_deg=chosen.size_sd_deg,
    )


def _draw_body(
    chosen: ExerciseSettings, repetitions: Repetitions, rng: np.random.Generator
) -> LegExercise | ArmExercise:
    heading_rad = float(rng.uniform(0.0, 2.0 * np.pi))
    if chosen.movement == "curl":
        return ArmExercise(
            repetitions, chosen.side, heading_rad, chosen.pronation_deg, chosen.swing_deg
        )
    return LegExercise(
        repetitions, chosen.movement, chosen.side, heading_rad, chosen.out_of_plane_deg
    )


def _strap(
    body: LegExercise | ArmExercise,
    segment: Segment,
    chosen: ExerciseSettings,
    rng: np.random.Generator,
) -> SegmentSensor:
    """Strap a sensor on at a place within a centimetre or so, turned at random."""
    axis = rng.standard_normal(3)
    outwards = 1.0 if chosen.side == "left" else -1.0
    return SegmentSensor(
        body=body,
        segment=segment,
        arm_m=np.array(_ARM_M[segment]) * [1.0, outwards, 1.0] + 0.01 * rng.standard_normal(3),
        mounting=Rotation.random(rng=rng),
        soft_tissue_deg=chosen.soft_tissue_deg,
        soft_tissue_axis=axis / np.linalg.norm(axis),
    )


def _reference(
    body: LegExercise | ArmExercise,
    repetitions: Repetitions,
    chosen: ExerciseSettings,
    rng: np.random.Generator,
) -> AngleRecording:
    """Record the reference from its own zero to 1.5 s after the wearable's end."""
    stretch = 1.0 + chosen.drift_ppm * 1e-6
    span_s = (repetitions.duration_s + 1.5 - chosen.lag_s) / stretch
    own_s = np.arange(int(span_s * chosen.reference_rate_hz) + 1) / chosen.reference_rate_hz
    reading = record_reference(
        body.angle_deg, own_s * stretch + chosen.lag_s, rng=rng, errors=chosen.reference_errors
    )
    return AngleRecording(reading, 0.0, chosen.reference_rate_hz, "simulated reference")


def _truth(
    body: LegExercise | ArmExercise,
    repetitions: Repetitions,
    straps: list[SegmentSensor],
    pose: Pose,
    chosen: ExerciseSettings,
) -> ExerciseTruth:
    above, below = (
        OrientationRecording(
            strap.orientation(pose).as_quat(scalar_first=True),
            0.0,
            chosen.rate_hz,
            f"true {strap.segment} sensor",
        )
        for strap in straps
    )
    starts_s, ends_s = repetitions.starts_s, repetitions.ends_s
    along_s = starts_s[:, None] + np.linspace(0.0, 1.0, 101) * (ends_s - starts_s)[:, None]
    return ExerciseTruth(
        angle=AngleRecording(body.angle_deg(pose.time_s), 0.0, chosen.rate_hz, "true flexion"),
        sensors=OrientationPair(above, below),
        starts_s=starts_s,
        ends_s=ends_s,
        curves_deg=body.angle_deg(along_s.ravel()).reshape(along_s.shape),
        sets=repetitions.sets,
        lag_s=chosen.lag_s,
        drift_ppm=chosen.drift_ppm,
    )
