"""One simulated trial: standing, functional movement and walk, as two instruments see it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from twinangle.checks import require_positive
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    GyroscopeSample,
    Interval,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.simulate.body import Body, Pose, Segment, Side, make_body
from twinangle.simulate.field import make_field
from twinangle.simulate.gait import Gait, make_gait
from twinangle.simulate.instruments import (
    ReferenceErrors,
    SegmentSensor,
    SensorErrors,
    record_reference,
    record_sensor,
    sample_motion,
)
from twinangle.simulate.schedule import Schedule, plan_trial

SEGMENTS: tuple[Segment, Segment] = ("thigh", "shank")
# Where a sensor is strapped, from the joint above, on the outer side of the left leg.
_ARM_M: dict[Segment, tuple[float, float, float]] = {
    "thigh": (0.02, 0.07, -0.24),
    "shank": (0.01, 0.04, -0.17),
}


@dataclass(frozen=True, slots=True)
class WalkSettings:
    """Everything about a simulated trial but chance.

    Parameters
    ----------
    walk_s, standing_s : float
        Seconds of walking, start and stop included, and of neutral standing.
    repetitions : int
        Flexions in the functional movement.
    stride_s, stride_cv : float
        Mean stride time in seconds and its coefficient of variation.
    speed_m_s : float
        Walking speed.
    knee_sd_deg : float
        Stride-to-stride SD of the stance peak in degrees; the other features scale with it.
    swing_peak_deg, functional_deg : float
        Height of the swing bump and amplitude of the functional movement, in degrees.
    straight_m, turn_s : float
        Length of a straight in metres and seconds of the half turn that ends it.
    weave_deg : float
        Amplitude of slow weaving about the straight line.
    out_of_plane_deg, soft_tissue_deg : float
        Rotation locked to knee flexion (at 60°), and skin motion locked to the stride.
    side : {"left", "right"}
    rate_hz : float
        Rate of the wearable.
    gyroscope_sample : {"instantaneous", "interval-mean"}
        What the rate at a sample stands for.
    sensor_errors : SensorErrors
    field_ut, dip_deg : float
        Strength and dip of the earth's magnetic field.
    floor_ut : float
        RMS horizontal field of iron in the floor at floor level, in µT; 0 is clean.
    hatch_deg : float
        Turn of the horizontal field at a shank's sensor over a magnetised steel hatch at the place
        of standing and of the functional movement, in degrees; 0 is no hatch.
    with_reference : bool
    reference_rate_hz : float
    reference_errors : ReferenceErrors
    lag_s, drift_ppm : float
        ``t_wearable = t_reference * (1 + drift_ppm * 1e-6) + lag_s``.

    Raises
    ------
    ValueError
        If a length, speed or rate is not above zero, standing lasts 2 s or less, or the walk is
        shorter than six strides.
    """

    walk_s: float = 75.0
    standing_s: float = 8.0
    repetitions: int = 5
    stride_s: float = 1.1
    stride_cv: float = 0.02
    speed_m_s: float = 1.3
    knee_sd_deg: float = 1.5
    swing_peak_deg: float = 59.0
    functional_deg: float = 70.0
    straight_m: float = 12.0
    turn_s: float = 2.4
    weave_deg: float = 0.0
    out_of_plane_deg: float = 0.0
    soft_tissue_deg: float = 0.0
    side: Side = "left"
    rate_hz: float = 100.0
    gyroscope_sample: GyroscopeSample = "instantaneous"
    sensor_errors: SensorErrors = field(default_factory=SensorErrors)
    field_ut: float = 48.0
    dip_deg: float = 66.0
    floor_ut: float = 0.0
    hatch_deg: float = 0.0
    with_reference: bool = True
    reference_rate_hz: float = 200.0
    reference_errors: ReferenceErrors = field(default_factory=ReferenceErrors)
    lag_s: float = 2.75
    drift_ppm: float = 35.0

    def __post_init__(self) -> None:
        for name in (
            "repetitions",
            "stride_s",
            "speed_m_s",
            "straight_m",
            "turn_s",
            "rate_hz",
            "reference_rate_hz",
        ):
            require_positive(getattr(self, name), name)
        if not self.standing_s > 2.0:
            raise ValueError(f"`standing_s` must be above 2 s, got {self.standing_s:g}.")
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
    body = _draw_body(chosen, rng)
    place = make_field(
        rng=rng,
        norm_ut=chosen.field_ut,
        dip_deg=chosen.dip_deg,
        floor_ut=chosen.floor_ut,
        hatch_deg=chosen.hatch_deg,
    )
    straps = [_strap(body, segment, chosen, rng) for segment in SEGMENTS]
    motion = sample_motion(
        body,
        n_samples=int(body.gait.schedule.duration_s * chosen.rate_hz) + 1,
        rate_hz=chosen.rate_hz,
        gyroscope_sample=chosen.gyroscope_sample,
        magnetometer_lag_s=chosen.sensor_errors.magnetometer_lag_s,
    )
    proximal, distal = (
        record_sensor(strap, motion, place, rng=rng, errors=chosen.sensor_errors)
        for strap in straps
    )
    schedule = body.gait.schedule
    return SimulatedTrial(
        sensors=SensorPair(proximal, distal),
        reference=_reference(body.gait, chosen, rng) if chosen.with_reference else None,
        static=schedule.standing,
        functional=schedule.functional,
        truth=_truth(body.gait, straps, motion.around[2], chosen),
    )


def _draw_body(chosen: WalkSettings, rng: np.random.Generator) -> Body:
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
    )
    return make_body(
        gait,
        side=chosen.side,
        speed_m_s=chosen.speed_m_s,
        heading_rad=float(rng.uniform(0.0, 2.0 * np.pi)),
        weave_rad=float(np.deg2rad(chosen.weave_deg)),
        out_of_plane_deg=chosen.out_of_plane_deg,
    )


def _strap(
    body: Body, segment: Segment, chosen: WalkSettings, rng: np.random.Generator
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


def _reference(gait: Gait, chosen: WalkSettings, rng: np.random.Generator) -> AngleRecording:
    """Record the reference from its own zero to 1.5 s after the wearable's end."""
    stretch = 1.0 + chosen.drift_ppm * 1e-6
    span_s = (gait.schedule.duration_s + 1.5 - chosen.lag_s) / stretch
    own_s = np.arange(int(span_s * chosen.reference_rate_hz) + 1) / chosen.reference_rate_hz
    reading = record_reference(
        gait.knee_deg, own_s * stretch + chosen.lag_s, rng=rng, errors=chosen.reference_errors
    )
    return AngleRecording(reading, 0.0, chosen.reference_rate_hz, "simulated reference")


def _truth(
    gait: Gait, straps: list[SegmentSensor], pose: Pose, chosen: WalkSettings
) -> SimulatedTruth:
    schedule, rate_hz = gait.schedule, chosen.rate_hz

    def recorded(rotation: Rotation, source: str) -> OrientationRecording:
        quaternion = rotation.as_quat(scalar_first=True)
        return OrientationRecording(quaternion, 0.0, rate_hz, source)

    thigh, shank = (recorded(pose.rotation[name], f"true {name}") for name in SEGMENTS)
    above, below = (
        recorded(strap.orientation(pose), f"true {strap.segment} sensor") for strap in straps
    )
    contact_s, curves, straight = _true_cycles(gait, schedule)
    return SimulatedTruth(
        knee=AngleRecording(gait.knee_deg(pose.time_s), 0.0, rate_hz, "true knee flexion"),
        segments=OrientationPair(thigh, shank),
        sensors=OrientationPair(above, below),
        mounting_proximal=straps[0].mounting.as_quat(scalar_first=True),
        mounting_distal=straps[1].mounting.as_quat(scalar_first=True),
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
