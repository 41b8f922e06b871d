"""One simulated exercise: standing, functional movement and repetitions, as two instruments see it.

Invented throughout; nothing comes from a recorded person.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from twinangle.signals.recording import (
    AngleRecording,
    Array,
    Interval,
    OrientationPair,
    SensorPair,
)
from twinangle.simulate.body import Segment
from twinangle.simulate.recorded import Recorded, Worn, refer, wear
from twinangle.simulate.repetitions import (
    ArmExercise,
    LegExercise,
    Movement,
    Repetitions,
    plan_repetitions,
)

# Mean change of the joint's angle in a repetition, degrees; invented.
SIZE_DEG: dict[Movement, float] = {"curl": 115.0, "squat": 90.0, "seated-extension": 80.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class ExerciseSettings(Recorded):
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

    Every other field is of :class:`twinangle.simulate.recorded.Recorded`.

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
    functional_repetitions: int = 5

    def __post_init__(self) -> None:
        if self.movement not in SIZE_DEG:
            raise ValueError(
                f"`movement` must be one of {', '.join(SIZE_DEG)}, got {self.movement!r}."
            )
        self.require("sets", "repetitions", "repetition_s")

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
    worn = wear(body, chosen.segments, repetitions.duration_s, chosen, rng)
    return SimulatedExercise(
        joint=chosen.joint,
        sensors=worn.sensors,
        reference=refer(body.angle_deg, repetitions.duration_s, chosen, rng),
        static=repetitions.standing,
        functional=repetitions.functional,
        truth=_truth(body, repetitions, worn, chosen),
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


def _truth(
    body: LegExercise | ArmExercise,
    repetitions: Repetitions,
    worn: Worn,
    chosen: ExerciseSettings,
) -> ExerciseTruth:
    time_s = worn.pose.time_s
    starts_s, ends_s = repetitions.starts_s, repetitions.ends_s
    along_s = starts_s[:, None] + np.linspace(0.0, 1.0, 101) * (ends_s - starts_s)[:, None]
    return ExerciseTruth(
        angle=AngleRecording(body.angle_deg(time_s), 0.0, chosen.rate_hz, "true flexion"),
        sensors=worn.true_sensors,
        starts_s=starts_s,
        ends_s=ends_s,
        curves_deg=body.angle_deg(along_s.ravel()).reshape(along_s.shape),
        sets=repetitions.sets,
        lag_s=chosen.lag_s,
        drift_ppm=chosen.drift_ppm,
    )
