"""One simulated trial: standing, functional movement and walk, as two instruments see it."""

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
from twinangle.simulate.body import Body, Segment, make_body
from twinangle.simulate.gait import Gait, make_gait
from twinangle.simulate.recorded import Recorded, Worn, refer, true_orientation, wear
from twinangle.simulate.schedule import Schedule, plan_trial

SEGMENTS: tuple[Segment, Segment] = ("thigh", "shank")


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkSettings(Recorded):
    """Everything about a simulated trial but chance.

    Parameters
    ----------
    walk_s : float
        Seconds of walking, start and stop included.
    repetitions : int
        Flexions in the functional movement.
    stride_s, stride_cv : float
        Mean stride time in seconds and its coefficient of variation.
    speed_m_s : float
        Walking speed.
    knee_sd_deg : float
        Stride-to-stride SD of the stance peak in degrees; the other features scale with it.
    swing_peak_deg : float
        Height of the swing bump in degrees.
    straight_m, turn_s : float
        Length of a straight in metres and seconds of the half turn that ends it.
    weave_deg : float
        Amplitude of slow weaving about the straight line.
    standing_deg : float
        True flexion in which the person stands where they are told to stand neutral.
    with_reference : bool

    Every other field is of :class:`twinangle.simulate.recorded.Recorded`.

    Raises
    ------
    ValueError
        If a length, speed or rate is not above zero, standing lasts 2 s or less, or the walk is
        shorter than six strides.
    """

    walk_s: float = 75.0
    repetitions: int = 5
    stride_s: float = 1.1
    stride_cv: float = 0.02
    speed_m_s: float = 1.3
    knee_sd_deg: float = 1.5
    swing_peak_deg: float = 59.0
    straight_m: float = 12.0
    turn_s: float = 2.4
    weave_deg: float = 0.0
    standing_deg: float = 0.0
    with_reference: bool = True

    def __post_init__(self) -> None:
        self.require("repetitions", "stride_s", "speed_m_s", "straight_m", "turn_s")
        if not self.walk_s >= 6.0 * self.stride_s:
            least = 6.0 * self.stride_s
            raise ValueError(
                f"`walk_s` must last six strides ({least:g} s) or more, got {self.walk_s:g}."
            )


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedTruth:
    """What no instrument sees, on the wearable's clock.

    `segments` map segment to earth and `sensors` sensor to earth; `mounting_proximal` and
    `mounting_distal` map a sensor's frame to its segment's, (4,) scalar first. `cycle_deg` is
    (m, 101), the true flexion from each of the m contacts `cycle_start_s` to the next
    (`cycle_end_s`) inside the walk; `cycle_straight` (m,) is true where a cycle lies clear of
    turns, start and stop.
    """

    knee: AngleRecording
    segments: OrientationPair
    sensors: OrientationPair
    mounting_proximal: Array
    mounting_distal: Array
    initial_contact_s: Array
    turns: tuple[Interval, ...]
    walking: Interval  # the steady walk, without start and stop
    lag_s: float  # NaN without a reference, as is the drift
    drift_ppm: float
    cycle_deg: Array
    cycle_straight: np.typing.NDArray[np.bool_]

    @property
    def cycle_start_s(self) -> Array:
        """Start of each true cycle, (m,)."""
        return self.initial_contact_s[:-1]

    @property
    def cycle_end_s(self) -> Array:
        """End of each true cycle, (m,)."""
        return self.initial_contact_s[1:]

    @property
    def straight_curves_deg(self) -> Array:
        """True curves of the cycles clear of turns, start and stop, (k, 101)."""
        return self.cycle_deg[self.cycle_straight]

    @property
    def cycle_sd_deg(self) -> float:
        """True per-cycle SD: over straight cycles at each point (n − 1), averaged over points."""
        return float(self.straight_curves_deg.std(axis=0, ddof=1).mean())


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedTrial:
    """What two instruments recorded of one simulated trial, and the truth beside it.

    `sensors`, `static` and `functional` are on the wearable's clock, `reference` is on its own
    (its first sample at 0 s) and None where the trial has none.
    """

    sensors: SensorPair
    reference: AngleRecording | None
    static: Interval
    functional: Interval
    truth: SimulatedTruth


def simulate_walk(
    *, rng: np.random.Generator, settings: WalkSettings | None = None, **changes: Any
) -> SimulatedTrial:
    """Simulate one trial: neutral standing, functional knee flexion, then walking with turns.

    Parameters
    ----------
    rng : numpy.random.Generator
        The only source of chance: the same state gives the same trial to the last bit.
    settings : WalkSettings, optional
        The defaults when left out.
    **changes
        Fields of :class:`WalkSettings` that differ from `settings`.

    Returns
    -------
    SimulatedTrial

    Raises
    ------
    TypeError
        If a change names no field of :class:`WalkSettings`.
    ValueError
        If a setting is out of range, see :class:`WalkSettings`.

    Notes
    -----
    The leg is two rigid segments whose orientation and position are smooth functions of time.
    Gyroscope and accelerometer come from those same functions by fourth-order differences at a
    1 ms step, so integrating the rates gives the orientations back.
    """
    chosen = replace(settings or WalkSettings(), **changes)
    body = draw_body(chosen, rng)
    schedule = body.gait.schedule
    worn = wear(body, SEGMENTS, schedule.duration_s, chosen, rng)
    reference = None
    if chosen.with_reference:
        reference = refer(body.gait.knee_deg, schedule.duration_s, chosen, rng)
    return SimulatedTrial(
        sensors=worn.sensors,
        reference=reference,
        static=schedule.standing,
        functional=schedule.functional,
        truth=_truth(body.gait, worn, chosen),
    )


def draw_body(chosen: WalkSettings, rng: np.random.Generator) -> Body:
    """Draw the walk: when each part of it begins, and how the leg moves."""
    schedule = plan_trial(
        rng=rng,
        standing_s=chosen.standing_s,
        repetitions=chosen.repetitions,
        walk_s=chosen.walk_s,
        straight_s=chosen.straight_m / chosen.speed_m_s,
        turn_s=chosen.turn_s,
        ramp_s=1.5 * chosen.stride_s,
    )
    gait = make_gait(
        schedule,
        rng=rng,
        stride_s=chosen.stride_s,
        stride_cv=chosen.stride_cv,
        knee_sd_deg=chosen.knee_sd_deg,
        swing_peak_deg=chosen.swing_peak_deg,
        functional_deg=chosen.functional_deg,
        standing_deg=chosen.standing_deg,
    )
    return make_body(
        gait,
        side=chosen.side,
        speed_m_s=chosen.speed_m_s,
        heading_rad=float(rng.uniform(0.0, 2.0 * np.pi)),
        weave_rad=float(np.deg2rad(chosen.weave_deg)),
        out_of_plane_deg=chosen.out_of_plane_deg,
    )


def _truth(gait: Gait, worn: Worn, chosen: WalkSettings) -> SimulatedTruth:
    schedule, pose = gait.schedule, worn.pose
    thigh, shank = (true_orientation(pose.rotation[name], chosen, name) for name in SEGMENTS)
    contact_s, curves, straight = _true_cycles(gait, schedule)
    return SimulatedTruth(
        knee=AngleRecording(gait.knee_deg(pose.time_s), 0.0, chosen.rate_hz, "true knee flexion"),
        segments=OrientationPair(thigh, shank),
        sensors=worn.true_sensors,
        mounting_proximal=worn.straps[0].mounting.as_quat(scalar_first=True),
        mounting_distal=worn.straps[1].mounting.as_quat(scalar_first=True),
        initial_contact_s=contact_s,
        turns=schedule.turns,
        walking=schedule.steady,
        lag_s=chosen.lag_s if chosen.with_reference else float("nan"),
        drift_ppm=chosen.drift_ppm if chosen.with_reference else float("nan"),
        cycle_deg=curves,
        cycle_straight=straight,
    )


def _true_cycles(
    gait: Gait, schedule: Schedule
) -> tuple[Array, Array, np.typing.NDArray[np.bool_]]:
    """Return the contacts inside the walk, the true curve of each cycle, and which are straight."""
    walk, steady = schedule.walk, schedule.steady
    contact_s = gait.contact_s[(gait.contact_s >= walk.start_s) & (gait.contact_s <= walk.end_s)]
    start_s, end_s = contact_s[:-1], contact_s[1:]
    share = np.linspace(0.0, 1.0, 101)
    curves = gait.knee_deg(start_s[:, None] + share * (end_s - start_s)[:, None])
    straight = (start_s >= steady.start_s) & (end_s <= steady.end_s)
    for turn in schedule.turns:
        straight &= (end_s <= turn.start_s) | (start_s >= turn.end_s)
    return contact_s, curves, straight
