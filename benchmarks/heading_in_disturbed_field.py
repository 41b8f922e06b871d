"""Heading, inclination and flexion over iron in the floor, on simulated walking with known truth.

    python benchmarks/heading_in_disturbed_field.py [SEEDS [FIRST]]      default 8 from 0

Baseline: the `vqf` library (Laidig & Seel 2023, Inf Fusion 91:187), default settings, run beside
ours on the same signals. Walks of 60 s to and fro on 12 m after 8 s of standing and a functional
movement on one spot (`simulate_walk`, instantaneous rates). The floor's field is given in µT RMS at
floor level; 13 µT has the heading spread that de Vries et al. 2009, Gait Posture 29:535, report of
a motion laboratory (29° at 5 cm, 3° above 100 cm).

Headings are compared as they are: both frames are east, magnetic north, up. Every figure is the
root mean square over samples, then over seeds; the largest seed in brackets. Per field:

- `bound`: the direction of the mean field over the walk, turned by the true orientations: what one
  sensor's field tells of north with a perfect gyroscope.
- `two_sensors` is the procedure `kalman-two-sensors`; the others orient each sensor alone.
- heading and inclination of each sensor, over the whole recording; `relative` is the shank's
  heading error less the thigh's, which alone bears on the knee.
- flexion, demeaned, sample by sample in the steady walk: from the true angle, and from what the
  true orientations give. What the true orientations give differs from the true angle by `plane`:
  the knee's motion outside the plane of the hinge, which no orientation filter can mend.
"""

import sys
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from twinangle.recording import (
    InertialRecording,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.simulate import SimulatedTrial, simulate_walk
from twinangle.wearable.magnetics import magnetic_disturbance
from twinangle.wearable.orientation import kalman, kalman_forward, vqf_forward, vqf_offline
from twinangle.wearable.procedures import WearableTrial, estimate_motion
from twinangle.wearable.twosensors import orient_jointly

Array = NDArray[np.float64]
Orient = Callable[[SensorPair], OrientationPair]


def each(orient: Callable[[InertialRecording], OrientationRecording]) -> Orient:
    return lambda pair: OrientationPair(orient(pair.proximal), orient(pair.distal))


FILTERS: dict[str, Orient] = {
    "kalman": each(kalman),
    "two_sensors": lambda pair: orient_jointly(pair, kalman).pair,
    "vqf_offline": each(vqf_offline),
    "kalman_forward": each(kalman_forward),
    "vqf_forward": each(vqf_forward),
}
ASKED_DEG = 0.6  # heading of each sensor
FIELDS = (  # µT at the floor, degrees out of plane
    (0.0, 0.0),
    (2.0, 0.0),
    (3.0, 0.0),
    (5.0, 0.0),
    (10.0, 0.0),
    (13.0, 0.0),
    (0.0, 4.0),
    (10.0, 4.0),
)


def rms(values: Array) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def over_seeds(values: list[float]) -> str:
    return f"{rms(np.array(values)):5.2f}° ({np.max(np.abs(values)):5.2f}°)"


def heading_and_inclination(found: OrientationRecording, true: OrientationRecording) -> Array:
    """Return both errors in degrees, (2, n)."""
    estimate = Rotation.from_quat(found.quaternion, scalar_first=True)
    error = estimate * Rotation.from_quat(true.quaternion, scalar_first=True).inv()
    x, y, z, w = error.as_quat(canonical=True).T
    heading, inclination = 2 * np.arctan2(z, w), 2 * np.arctan2(np.hypot(x, y), np.hypot(w, z))
    return np.degrees([(heading + np.pi) % (2 * np.pi) - np.pi, inclination])


def sensors(trial: SimulatedTrial) -> tuple[tuple[InertialRecording, OrientationRecording], ...]:
    true = trial.truth.sensors
    return (trial.sensors.proximal, true.proximal), (trial.sensors.distal, true.distal)


def steady(trial: SimulatedTrial) -> slice:
    rate, walk = trial.sensors.proximal.rate_hz, trial.truth.walking
    return slice(round(walk.start_s * rate), round(walk.end_s * rate))


def flexion_deg(trial: SimulatedTrial, pair: OrientationPair) -> Array:
    """Return the angle in the steady walk, demeaned."""
    motion = estimate_motion(WearableTrial(pair, trial.static, trial.functional), "orientation")
    angle = motion.angle.angle_deg[steady(trial)]
    return np.asarray(angle - angle.mean())


def print_field(trials: list[SimulatedTrial]) -> None:
    """Print what the field is like at either sensor, and what it can tell."""
    for name, which in (("thigh", 0), ("shank", 1)):
        spread, bound, share = [], [], []
        for trial in trials:
            sensor, true = sensors(trial)[which]
            turn = Rotation.from_quat(true.quaternion, scalar_first=True)
            east, north, _ = turn.apply(np.array(sensor.magnetometer))[steady(trial)].T
            spread.append(float(np.degrees(np.std(np.arctan2(east, north)))))
            bound.append(float(np.degrees(np.arctan2(east.mean(), north.mean()))))
            share.append(magnetic_disturbance(sensor).share)
        print(
            f"  {name}: magnetic heading in the walk spread by {rms(np.array(spread)):.1f}°, "
            f"{100 * np.mean(share):.0f} % of samples called disturbed, bound {over_seeds(bound)}"
        )


def print_filter(name: str, trials: list[SimulatedTrial]) -> tuple[float, float]:
    """Print a filter's figures; return the heading error of thigh and shank."""
    figures: dict[str, list[float]] = {}
    for trial in trials:
        pair = FILTERS[name](trial.sensors)
        found = (pair.proximal, pair.distal)
        errors = [
            heading_and_inclination(one, true)
            for one, (_, true) in zip(found, sensors(trial), strict=True)
        ]
        knee = trial.truth.knee.angle_deg[steady(trial)]
        ours = flexion_deg(trial, pair)
        row = {
            "heading thigh": rms(errors[0][0]),
            "shank": rms(errors[1][0]),
            "relative": rms(errors[1][0] - errors[0][0]),
            "inclination thigh": rms(errors[0][1]),
            "shank ": rms(errors[1][1]),
            "flexion": rms(ours - (knee - knee.mean())),
            "from true orientations": rms(ours - flexion_deg(trial, trial.truth.sensors)),
        }
        for key, value in row.items():
            figures.setdefault(key, []).append(value)
    line = "  ".join(f"{key.strip()} {over_seeds(values)}" for key, values in figures.items())
    print(f"  {name:14s} {line}")
    thigh, shank = (rms(np.array(figures[key])) for key in ("heading thigh", "shank"))
    return thigh, shank


def print_plane(trials: list[SimulatedTrial]) -> None:
    parts = []
    for trial in trials:
        knee = trial.truth.knee.angle_deg[steady(trial)]
        parts.append(rms(flexion_deg(trial, trial.truth.sensors) - (knee - knee.mean())))
    print(f"  flexion of the true orientations from the true angle: plane {over_seeds(parts)}")


def print_reach(reached: dict[str, list[tuple[float, float, float]]]) -> None:
    """Print up to which of the fields without motion out of plane each sensor's heading holds."""
    print(f"heading within {ASKED_DEG:g}° (root mean square) up to a floor's field of")
    for name, rows in reached.items():
        parts = []
        for sensor, column in (("thigh", 1), ("shank", 2)):
            held = [row[0] for row in rows if row[column] <= ASKED_DEG]
            parts.append(f"{sensor} {f'{max(held):g} µT' if held else 'none'}")
        print(f"  {name:14s} {', '.join(parts)}")


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    reached: dict[str, list[tuple[float, float, float]]] = {name: [] for name in FILTERS}
    for floor_ut, out_of_plane_deg in FIELDS:
        trials = [
            simulate_walk(
                rng=np.random.default_rng(seed),
                walk_s=60.0,
                floor_ut=floor_ut,
                out_of_plane_deg=out_of_plane_deg,
            )
            for seed in range(first, first + seeds)
        ]
        print(
            f"floor {floor_ut:g} µT, {out_of_plane_deg:g}° out of plane, {seeds} seeds from {first}"
        )
        print_field(trials)
        for name in FILTERS:
            headings = print_filter(name, trials)
            if out_of_plane_deg == 0.0:
                reached[name].append((floor_ut, *headings))
        print_plane(trials)
    print_reach(reached)


if __name__ == "__main__":
    main()
