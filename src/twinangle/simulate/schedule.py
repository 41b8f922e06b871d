"""When the simulated person stands, moves, walks and turns: the timetable of a trial."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.signals.recording import Array, Interval

_LIFT_S = 1.5  # raising the thigh before the functional movement, and lowering it after
_REST_S = 2.0  # standing between the functional movement and the walk
_SETTLE_S = 3.0  # standing after the walk


def smooth_step(x: Array) -> Array:
    """Return the minimum-jerk step 6x⁵ − 15x⁴ + 10x³: 0 below 0, 1 above 1, smooth between.

    Flash & Hogan (1985), J Neurosci 5:1688, equation 3 of the point-to-point movement.
    """
    u = np.clip(x, 0.0, 1.0)
    return np.asarray(u**3 * (10.0 + u * (6.0 * u - 15.0)))


def plateau(time_s: Array, start_s: float, end_s: float, ramp_s: float) -> Array:
    """Return 1 inside an interval and 0 outside, with a smooth ramp inside either end."""
    rise = smooth_step((time_s - start_s) / ramp_s)
    return np.asarray(rise * (1.0 - smooth_step((time_s - end_s + ramp_s) / ramp_s)))


@dataclass(frozen=True, slots=True)
class Schedule:
    """The timetable of one trial, in seconds from its first sample.

    `standing` and `functional` are the parts to name in a trials table; `walk` runs from the
    first movement of the walk to the last, `ramp_s` of it at either end being start and stop.
    Turn k changes the heading by ``turn_rad[k]``.
    """

    standing: Interval
    functional: Interval
    repetitions: int
    walk: Interval
    ramp_s: float
    turns: tuple[Interval, ...]
    turn_rad: tuple[float, ...]
    duration_s: float

    @property
    def steady(self) -> Interval:
        """The walk without its start and stop."""
        return Interval(self.walk.start_s + self.ramp_s, self.walk.end_s - self.ramp_s)

    def walking(self, time_s: Array) -> Array:
        """Return how far the gait pattern is developed at the given times, 0 to 1."""
        return plateau(time_s, self.walk.start_s, self.walk.end_s, self.ramp_s)

    def lifted(self, time_s: Array) -> Array:
        """Return how far the thigh is raised for the functional movement, 0 to 1."""
        held = self.functional
        return plateau(time_s, held.start_s - _LIFT_S, held.end_s + _LIFT_S, _LIFT_S)

    def flexing(self, time_s: Array) -> Array:
        """Return the functional flexion as a share of its amplitude, 0 to 1."""
        span = self.functional
        cycle = (time_s - span.start_s) / (span.end_s - span.start_s) * self.repetitions
        swing = 0.5 * (1.0 - np.cos(2.0 * np.pi * cycle))
        return plateau(time_s, span.start_s, span.end_s, 0.4) * swing

    def turning(self, time_s: Array) -> Array:
        """Return how far a turn is under way at the given times, 0 to 1."""
        level = np.zeros_like(time_s)
        for turn in self.turns:
            level += plateau(time_s, turn.start_s, turn.end_s, 0.4 * (turn.end_s - turn.start_s))
        return level

    def turned_rad(self, time_s: Array) -> Array:
        """Return the heading gained by all turns so far, in radians, anticlockwise positive."""
        total = np.zeros_like(time_s)
        for turn, angle in zip(self.turns, self.turn_rad, strict=True):
            total += angle * smooth_step((time_s - turn.start_s) / (turn.end_s - turn.start_s))
        return total


def plan_trial(
    *,
    rng: np.random.Generator,
    standing_s: float,
    repetitions: int,
    walk_s: float,
    straight_s: float,
    turn_s: float,
    ramp_s: float,
) -> Schedule:
    """Lay out standing, functional movement and walk one after the other.

    Parameters
    ----------
    rng : numpy.random.Generator
        Draws the length of each straight (SD 4 %) and the side of each turn.
    standing_s, walk_s, straight_s, turn_s, ramp_s : float
        Seconds of neutral standing, of walking in all, of one straight, of one turn, and of
        start and stop.
    repetitions : int
        Number of flexions in the functional movement, 2.2 s each.

    Returns
    -------
    Schedule
    """
    functional = Interval(standing_s + _LIFT_S, standing_s + _LIFT_S + 2.2 * repetitions)
    start = functional.end_s + _LIFT_S + _REST_S
    walk = Interval(start, start + walk_s)
    turns: list[Interval] = []
    turn_rad: list[float] = []
    at = start + ramp_s + straight_s * (1.0 + 0.04 * rng.standard_normal())
    while at + turn_s + ramp_s < walk.end_s - ramp_s:
        turns.append(Interval(at, at + turn_s))
        turn_rad.append(float(np.pi * rng.choice([-1.0, 1.0])))
        at += turn_s + straight_s * (1.0 + 0.04 * rng.standard_normal())
    return Schedule(
        standing=Interval(1.0, standing_s - 1.0),
        functional=functional,
        repetitions=repetitions,
        walk=walk,
        ramp_s=ramp_s,
        turns=tuple(turns),
        turn_rad=tuple(turn_rad),
        duration_s=walk.end_s + _SETTLE_S,
    )
