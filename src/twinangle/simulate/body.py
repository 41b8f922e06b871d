"""Two rigid segments in space: where thigh and shank are, and how they are turned, at any time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import Array
from twinangle.simulate.gait import Gait, periodic_bump

Segment = Literal["thigh", "shank", "upper arm", "forearm"]
Side = Literal["left", "right"]

THIGH_M = 0.42  # hip to knee centre
SHANK_M = 0.52  # knee centre to floor, foot included


def turned_in_order(axes: str, *angles_rad: Array) -> Rotation:
    """Return rotations about the moving axes named, one after the other (n angles each).

    What ``Rotation.from_euler`` with capital letters does, some ten times faster.
    """
    w, v = np.ones_like(angles_rad[0]), np.zeros((3, angles_rad[0].size))
    for axis, angle in zip(axes, angles_rad, strict=True):
        # Product with (cos a/2, sin a/2 e_i), where e_i × maps components j, k to each other.
        i = "xyz".index(axis)
        j, k = (i + 1) % 3, (i + 2) % 3
        c, s = np.cos(0.5 * angle), np.sin(0.5 * angle)
        moved = np.empty_like(v)
        moved[i] = c * v[i] + s * w
        moved[j] = c * v[j] + s * v[k]
        moved[k] = c * v[k] - s * v[j]
        w, v = c * w - s * v[i], moved
    return Rotation.from_quat(np.column_stack([w, *v]), scalar_first=True)


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Both segments at n times: segment to earth, and the joint each hangs from (hip, knee).

    `joint_m` is (n, 3) in metres in the earth frame.
    """

    time_s: Array
    rotation: dict[Segment, Rotation]
    joint_m: dict[Segment, Array]


class Moves(Protocol):
    """Two segments that move: all that a sensor strapped to one of them needs to know."""

    def pose(self, time_s: Array) -> Pose:
        """Return where both segments are at the given times (n,)."""

    def phase(self, time_s: Array) -> Array:
        """Return the phase in cycles, with which the skin moves."""

    def moving(self, time_s: Array) -> Array:
        """Return how far the cyclic movement is developed, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Body:
    """A walking leg in an earth frame x east, y north, z up, the floor at z = 0.

    A segment's frame has x forward, y to the left, z up the segment when the person stands; the
    knee flexes about +y of the thigh. Out-of-plane motion is locked to flexion: a rotation about
    the shank's long axis of `out_of_plane_deg` at 60° of flexion, and 0.6 of it in abduction.
    """

    gait: Gait
    side: Side
    heading_rad: float
    weave_rad: float  # slow weaving about the straight line, as on a path
    out_of_plane_deg: float
    track_m: BSpline  # (n, 2) horizontal position of the pelvis over time

    def heading(self, time_s: Array) -> Array:
        """Return the walking direction in radians, anticlockwise from earth x."""
        schedule = self.gait.schedule
        # Who stands does not weave: standing is where a gyroscope's bias is read.
        weave = self.weave_rad * schedule.walking(time_s) * np.sin(2.0 * np.pi * time_s / 17.0)
        return np.asarray(self.heading_rad + weave + schedule.turned_rad(time_s))

    def phase(self, time_s: Array) -> Array:
        """Return the gait phase in cycles."""
        return self.gait.phase(time_s)

    def moving(self, time_s: Array) -> Array:
        """Return how far the gait pattern is developed, 0 to 1."""
        return self.gait.schedule.walking(time_s)

    def pose(self, time_s: Array) -> Pose:
        """Return where both segments are at the given times (n,)."""
        hip_m, thigh = self._hip(time_s), self._thigh(time_s)
        return Pose(
            time_s=time_s,
            rotation={"thigh": thigh, "shank": thigh * self._knee(time_s)},
            joint_m={"thigh": hip_m, "shank": hip_m + thigh.apply([0.0, 0.0, -THIGH_M])},
        )

    def _thigh(self, time_s: Array) -> Rotation:
        phase, walking = self.gait.phase(time_s), self.gait.schedule.walking(time_s)
        cycle = 2.0 * np.pi * phase
        sway = np.deg2rad(0.15) * np.sin(2.0 * np.pi * 0.23 * time_s)
        yaw = self.heading(time_s) + np.deg2rad(4.0) * walking * np.sin(cycle)
        roll = np.deg2rad(3.0) * walking * np.cos(cycle + 0.6) + sway
        pitch = -np.deg2rad(self.gait.hip_deg(time_s)) + 0.7 * sway
        return turned_in_order("zxy", yaw, roll, pitch)

    def _knee(self, time_s: Array) -> Rotation:
        """Return shank to thigh: flexion about y, then what is locked to it (Grood & Suntay)."""
        flexion = np.deg2rad(self.gait.knee_deg(time_s))
        locked = np.deg2rad(self.out_of_plane_deg) * np.sin(np.clip(flexion, -1.5, 1.5) * 1.5)
        return turned_in_order("yxz", flexion, 0.6 * locked, locked)

    def _hip(self, time_s: Array) -> Array:
        phase, walking = self.gait.phase(time_s), self.gait.schedule.walking(time_s)
        cycle = 2.0 * np.pi * phase
        forward = 0.012 * walking * np.sin(2.0 * cycle)
        leftward = 0.02 * walking * np.sin(cycle) + (0.09 if self.side == "left" else -0.09)
        shock = periodic_bump(phase, 0.02, 0.012) + 0.4 * periodic_bump(phase, 0.52, 0.012)
        rise = walking * (-0.02 * np.cos(2.0 * cycle) - 0.0015 * shock)
        heading = self.heading(time_s)
        east, north = np.cos(heading), np.sin(heading)
        track = self.track_m(time_s)
        return np.column_stack(
            [
                track[:, 0] + forward * east - leftward * north,
                track[:, 1] + forward * north + leftward * east,
                THIGH_M + SHANK_M + rise,
            ]
        )


def make_body(
    gait: Gait,
    *,
    side: Side,
    speed_m_s: float,
    heading_rad: float,
    weave_rad: float,
    out_of_plane_deg: float,
) -> Body:
    """Lay the walked track and return the body that follows it.

    The pelvis moves along the heading at `speed_m_s`, slower by half in a turn; its position is
    the exact antiderivative of a spline of its velocity.
    """
    time_s = np.arange(-2.0, gait.schedule.duration_s + 2.0, 0.05)
    body = Body(gait, side, heading_rad, weave_rad, out_of_plane_deg, track_m=_still(time_s))
    schedule = gait.schedule
    speed = speed_m_s * schedule.walking(time_s) * (1.0 - 0.5 * schedule.turning(time_s))
    heading = body.heading(time_s)
    velocity = speed[:, None] * np.column_stack([np.cos(heading), np.sin(heading)])
    track = make_interp_spline(time_s, velocity, k=5).antiderivative()
    return Body(gait, side, heading_rad, weave_rad, out_of_plane_deg, track_m=track)


def _still(time_s: Array) -> BSpline:
    return make_interp_spline(time_s[[0, -1]], np.zeros((2, 2)), k=1)
