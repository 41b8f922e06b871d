"""What every simulated recording shares: its instruments, and how they see a moving body."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation

from twinangle.checks import require_positive
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    GyroscopeSample,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.simulate.body import Moves, Pose, Segment, Side
from twinangle.simulate.earth_field import make_field
from twinangle.simulate.instrument_signals import (
    ReferenceErrors,
    SegmentSensor,
    SensorErrors,
    record_reference,
    record_sensor,
    sample_motion,
)

# Where a sensor is strapped, from the joint above, on the outer side of the left limb.
_ARM_M: dict[Segment, tuple[float, float, float]] = {
    "thigh": (0.02, 0.07, -0.24),
    "shank": (0.01, 0.04, -0.17),
    "upper arm": (0.01, 0.05, -0.19),
    "forearm": (0.01, 0.03, -0.18),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """The instruments and the place of a simulated recording.

    Parameters
    ----------
    standing_s : float
        Seconds of neutral standing.
    functional_deg : float
        Amplitude of the functional movement.
    out_of_plane_deg, soft_tissue_deg : float
        Rotation locked to knee flexion (at 60°), and skin motion locked to the cycle.
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
        Turn of the horizontal field at the distal sensor over a magnetised steel hatch at the place
        of standing and of the functional movement, in degrees; 0 is no hatch.
    reference_rate_hz : float
    reference_errors : ReferenceErrors
    lag_s, drift_ppm : float
        ``t_wearable = t_reference * (1 + drift_ppm * 1e-6) + lag_s``.

    Raises
    ------
    ValueError
        If a rate is not above zero, or standing lasts 2 s or less.
    """

    standing_s: float = 8.0
    functional_deg: float = 70.0
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
    reference_rate_hz: float = 200.0
    reference_errors: ReferenceErrors = field(default_factory=ReferenceErrors)
    lag_s: float = 2.75
    drift_ppm: float = 35.0

    def require(self, *positive: str) -> None:
        """Refuse numbers that are not above zero, and standing that is too short to find."""
        for name in (*positive, "rate_hz", "reference_rate_hz"):
            require_positive(getattr(self, name), name)
        if not self.standing_s > 2.0:
            raise ValueError(f"`standing_s` must be above 2 s, got {self.standing_s:g}.")


@dataclass(frozen=True, slots=True, eq=False)
class Worn:
    """What the wearable recorded, where its sensors sit, and the poses at its samples."""

    sensors: SensorPair
    straps: tuple[SegmentSensor, SegmentSensor]
    pose: Pose
    true_sensors: OrientationPair  # sensor to earth


def wear(
    body: Moves,
    segments: tuple[Segment, Segment],
    duration_s: float,
    chosen: Recorded,
    rng: np.random.Generator,
) -> Worn:
    """Draw the place and the straps, and record the body with a sensor on either segment."""
    place = make_field(
        rng=rng,
        norm_ut=chosen.field_ut,
        dip_deg=chosen.dip_deg,
        floor_ut=chosen.floor_ut,
        hatch_deg=chosen.hatch_deg,
    )
    straps = (_strap(body, segments[0], chosen, rng), _strap(body, segments[1], chosen, rng))
    motion = sample_motion(
        body,
        n_samples=int(duration_s * chosen.rate_hz) + 1,
        rate_hz=chosen.rate_hz,
        gyroscope_sample=chosen.gyroscope_sample,
        magnetometer_lag_s=chosen.sensor_errors.magnetometer_lag_s,
    )
    sensors = (
        record_sensor(strap, motion, place, rng=rng, errors=chosen.sensor_errors)
        for strap in straps
    )
    pose = motion.around[2]
    true = (
        true_orientation(strap.orientation(pose), chosen, f"{strap.segment} sensor")
        for strap in straps
    )
    return Worn(SensorPair(*sensors), straps, pose, OrientationPair(*true))


def true_orientation(rotation: Rotation, chosen: Recorded, of: str) -> OrientationRecording:
    """Return true orientations at the wearable's samples."""
    quaternion = rotation.as_quat(scalar_first=True)
    return OrientationRecording(quaternion, 0.0, chosen.rate_hz, f"true {of}")


def _strap(
    body: Moves, segment: Segment, chosen: Recorded, rng: np.random.Generator
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


def refer(
    angle_deg: Callable[[Array], Array],
    duration_s: float,
    chosen: Recorded,
    rng: np.random.Generator,
) -> AngleRecording:
    """Record the reference from its own zero to 1.5 s after the wearable's end."""
    stretch = 1.0 + chosen.drift_ppm * 1e-6
    span_s = (duration_s + 1.5 - chosen.lag_s) / stretch
    own_s = np.arange(int(span_s * chosen.reference_rate_hz) + 1) / chosen.reference_rate_hz
    reading = record_reference(
        angle_deg, own_s * stretch + chosen.lag_s, rng=rng, errors=chosen.reference_errors
    )
    return AngleRecording(reading, 0.0, chosen.reference_rate_hz, "simulated reference")
