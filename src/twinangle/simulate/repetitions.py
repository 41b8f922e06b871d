"""Exercises as smooth functions of time: elbow curls, squats and seated knee extensions.

The movements are stylised and invented: a minimum-jerk rise, a short hold and a minimum-jerk fall a
repetition, sizes of the usual order (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import Array, Interval
from twinangle.simulate.body import SHANK_M, THIGH_M, Pose, Segment, Side, turned_in_order
from twinangle.simulate.schedule import plateau

Movement = Literal["curl", "squat", "seated-extension"]

UPPER_ARM_M = 0.30
SHOULDER_M = 1.40  # above the floor
_LIFT_S = 1.5  # raising the thigh before the functional movement, and lowering it after
_SETTLE_S = 1.5  # into the posture that the repetitions start from, and out of it


@dataclass(frozen=True, slots=True, eq=False)
class Repetitions:
    """The timetable of an exercise: standing, functional movement, sets of repetitions.

    `starts_s` and `ends_s` (m,) bound the repetitions, `size_deg` (m,) is how far each moves the
    joint; between the sets the person rests in the posture of the repetitions.
    """

    standing: Interval
    functional: Interval
    functional_repetitions: int
    functional_deg: float
    sets: tuple[Interval, ...]
    starts_s: Array
    ends_s: Array
    size_deg: Array
    duration_s: float

    @property
    def whole(self) -> Interval:
        """From the first repetition to the last, rests included."""
        return Interval(self.sets[0].start_s, self.sets[-1].end_s)

    def phase(self, time_s: Array) -> Array:
        """Return the repetitions done so far; it stands still outside the sets."""
        knots = np.column_stack([self.starts_s, self.ends_s]).ravel()
        count = np.arange(self.starts_s.size)
        return np.interp(time_s, knots, np.column_stack([count, count + 1]).ravel())

    def moving(self, time_s: Array) -> Array:
        """Return 1 within the sets and 0 outside, with smooth edges."""
        return np.asarray(sum(plateau(time_s, s.start_s, s.end_s, 0.5) for s in self.sets))

    def posture(self, time_s: Array) -> Array:
        """Return how far the posture of the repetitions is taken, 0 to 1."""
        span = self.whole
        return plateau(time_s, span.start_s - _SETTLE_S, span.end_s + _SETTLE_S, _SETTLE_S)

    def share(self, time_s: Array, begin: float = 0.0, end: float = 1.0) -> Array:
        """Return a hump between two places of each repetition, 0 to 1."""
        within = self.phase(time_s) % 1.0
        return plateau(within, begin, end, 0.45 * (end - begin))

    def moved_deg(self, time_s: Array) -> Array:
        """Return the hump of each repetition times its own size."""
        number = np.minimum(self.phase(time_s).astype(int), self.size_deg.size - 1)
        return np.asarray(self.size_deg[number] * self.share(time_s))

    def flexing_deg(self, time_s: Array) -> Array:
        """Return the flexion of the functional movement."""
        span = self.functional
        cycle = (time_s - span.start_s) / (span.end_s - span.start_s) * self.functional_repetitions
        swing = 0.5 * (1.0 - np.cos(2.0 * np.pi * cycle))
        return self.functional_deg * plateau(time_s, span.start_s, span.end_s, 0.4) * swing

    def lifted(self, time_s: Array) -> Array:
        """Return how far the thigh is raised for the functional movement, 0 to 1."""
        held = self.functional
        return plateau(time_s, held.start_s - _LIFT_S, held.end_s + _LIFT_S, _LIFT_S)


@dataclass(frozen=True, slots=True)
class LegExercise:
    """A leg that squats, or extends the knee in sitting; frames as those of a walking leg.

    The ankle stands still in a squat, the hip in a seated extension; the functional movement
    flexes the lifted knee, as before a walk.
    """

    repetitions: Repetitions
    movement: Movement
    side: Side
    heading_rad: float
    out_of_plane_deg: float

    def phase(self, time_s: Array) -> Array:
        """Return the repetitions done so far."""
        return self.repetitions.phase(time_s)

    def moving(self, time_s: Array) -> Array:
        """Return 1 within the sets and 0 outside."""
        return self.repetitions.moving(time_s)

    def angle_deg(self, time_s: Array) -> Array:
        """Return the true knee flexion in degrees."""
        done, functional = self.repetitions, self.repetitions.flexing_deg(time_s)
        moved = done.moved_deg(time_s)
        if self.movement == "squat":
            return np.asarray(moved + functional)
        return np.asarray(90.0 * done.posture(time_s) - moved + functional)

    def pose(self, time_s: Array) -> Pose:
        """Return where both segments are at the given times (n,)."""
        lean, bent = self._lean_deg(time_s)
        raised = 25.0 * self.repetitions.lifted(time_s)
        sway = np.deg2rad(0.3) * np.sin(2.0 * np.pi * 0.23 * time_s)
        thigh = turned_in_order(
            "zxy", self.heading_rad + sway, 0.5 * sway, -np.deg2rad(bent + raised)
        )
        flexion = np.deg2rad(self.angle_deg(time_s))
        locked = np.deg2rad(self.out_of_plane_deg) * np.sin(np.clip(flexion, -1.5, 1.5) * 1.5)
        knee = turned_in_order("yxz", flexion, 0.6 * locked, locked)
        hip_m = self._hip(np.deg2rad(lean), np.deg2rad(bent))
        return Pose(
            time_s=time_s,
            rotation={"thigh": thigh, "shank": thigh * knee},
            joint_m={"thigh": hip_m, "shank": hip_m + thigh.apply([0.0, 0.0, -THIGH_M])},
        )

    def _lean_deg(self, time_s: Array) -> tuple[Array, Array]:
        """Return how far the standing shank leans forwards and the thigh backwards."""
        if self.movement == "squat":
            moved = self.repetitions.moved_deg(time_s)
            return 0.35 * moved, 0.65 * moved
        return np.zeros_like(time_s), 85.0 * self.repetitions.posture(time_s)

    def _hip(self, lean_rad: Array, bent_rad: Array) -> Array:
        forward = SHANK_M * np.sin(lean_rad) - THIGH_M * np.sin(bent_rad)
        left = 0.09 if self.side == "left" else -0.09
        east, north = np.cos(self.heading_rad), np.sin(self.heading_rad)
        height = SHANK_M * np.cos(lean_rad) + THIGH_M * np.cos(bent_rad)
        return np.column_stack(
            [forward * east - left * north, forward * north + left * east, height]
        )


@dataclass(frozen=True, slots=True)
class ArmExercise:
    """An arm that curls, turning the forearm: x forward, y to the left, z up the segment.

    The elbow flexes about -y of the upper arm, which swings by `swing_deg` with it. The forearm
    turns about its long axis by `pronation_deg`, late in the lift and back late in the lowering, so
    that over one repetition its rate about the vertical does not cancel.
    """

    repetitions: Repetitions
    side: Side
    heading_rad: float
    pronation_deg: float
    swing_deg: float

    def phase(self, time_s: Array) -> Array:
        """Return the repetitions done so far."""
        return self.repetitions.phase(time_s)

    def moving(self, time_s: Array) -> Array:
        """Return 1 within the sets and 0 outside."""
        return self.repetitions.moving(time_s)

    def angle_deg(self, time_s: Array) -> Array:
        """Return the true elbow flexion in degrees."""
        done = self.repetitions
        ready = 8.0 * done.posture(time_s)  # the arm is not quite straight between repetitions
        return np.asarray(ready + done.moved_deg(time_s) + done.flexing_deg(time_s))

    def pose(self, time_s: Array) -> Pose:
        """Return where both segments are at the given times (n,)."""
        done = self.repetitions
        sway = np.deg2rad(0.5) * np.sin(2.0 * np.pi * 0.23 * time_s)
        swing = -np.deg2rad(self.swing_deg) * done.share(time_s)
        upper = turned_in_order("zxy", self.heading_rad + sway, 0.5 * sway, swing)
        mirrored = 1.0 if self.side == "left" else -1.0
        turned = mirrored * np.deg2rad(self.pronation_deg) * done.share(time_s, 0.25, 0.95)
        elbow = turned_in_order("yz", -np.deg2rad(self.angle_deg(time_s)), turned)
        shoulder_m = self._shoulder(time_s)
        rotation: dict[Segment, Rotation] = {"upper arm": upper, "forearm": upper * elbow}
        return Pose(
            time_s=time_s,
            rotation=rotation,
            joint_m={
                "upper arm": shoulder_m,
                "forearm": shoulder_m + upper.apply([0.0, 0.0, -UPPER_ARM_M]),
            },
        )

    def _shoulder(self, time_s: Array) -> Array:
        """Return the shoulder, which leans back a little against each lift."""
        back = -0.02 * self.repetitions.share(time_s)
        left = 0.2 if self.side == "left" else -0.2
        east, north = np.cos(self.heading_rad), np.sin(self.heading_rad)
        return np.column_stack(
            [
                back * east - left * north,
                back * north + left * east,
                SHOULDER_M + 0.2 * back,
            ]
        )


def plan_repetitions(
    *,
    rng: np.random.Generator,
    standing_s: float,
    functional_repetitions: int,
    functional_deg: float,
    sets: int,
    repetitions: int,
    repetition_s: float,
    repetition_cv: float,
    rest_s: float,
    size_deg: float,
    size_sd_deg: float,
) -> Repetitions:
    """Lay out standing, functional movement and sets of repetitions one after the other.

    Parameters
    ----------
    rng : numpy.random.Generator
        Draws the duration and the size of each repetition.
    standing_s, rest_s : float
        Seconds of neutral standing, and between two sets.
    functional_repetitions, functional_deg : int, float
        Flexions in the functional movement, 2.2 s each, and how far they go.
    sets, repetitions : int
        Sets, and repetitions in each.
    repetition_s, repetition_cv : float
        Mean duration of a repetition and its coefficient of variation.
    size_deg, size_sd_deg : float
        Mean and SD of how far a repetition moves the joint.
    """
    functional = Interval(standing_s + _LIFT_S, standing_s + _LIFT_S + 2.2 * functional_repetitions)
    at = functional.end_s + _LIFT_S + 1.0 + _SETTLE_S
    starts: list[float] = []
    ends: list[float] = []
    spans: list[Interval] = []
    for _ in range(sets):
        began = at
        for factor in 1.0 + repetition_cv * np.clip(rng.standard_normal(repetitions), -3.0, 3.0):
            starts.append(at)
            at += repetition_s * float(factor)
            ends.append(at)
        spans.append(Interval(began, at))
        at += rest_s
    return Repetitions(
        standing=Interval(1.0, standing_s - 1.0),
        functional=functional,
        functional_repetitions=functional_repetitions,
        functional_deg=functional_deg,
        sets=tuple(spans),
        starts_s=np.array(starts),
        ends_s=np.array(ends),
        size_deg=size_deg + size_sd_deg * rng.standard_normal(len(starts)),
        duration_s=spans[-1].end_s + _SETTLE_S + 2.0,
    )
