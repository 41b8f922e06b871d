"""Heading, inclination and flexion over iron in the floor, on simulated walking with known truth.

    python benchmarks/heading_in_disturbed_field.py [SEEDS [FIRST]]      default 8 from 0

Baseline: the `vqf` library (Laidig & Seel 2023, Inf Fusion 91:187), default settings, run beside
ours on the same signals. Walks of 60 s to and fro on 12 m after 8 s of standing and a functional
movement on one spot (`simulate_walk`, instantaneous rates). The floor's field is given in µT RMS at
floor level; 13 µT has the heading spread that de Vries et al. 2009, Gait Posture 29:535, report of
a motion laboratory (29° at 5 cm, 3° above 100 cm).

After the fields, walks that are harder: knees that leave the hinge plane, skin that moves by 3° on
straights of 5 m, a floor of 20 µT, and gyroscopes with three times the scale error.

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
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import (
    InertialRecording,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.simulate import SimulatedTrial, simulate_walk
from twinangle.simulate.instrument_signals import SensorErrors
from twinangle.wearable.heading.two_sensors import orient_jointly
from twinangle.wearable.orientation import kalman, kalman_forward, vqf_forward, vqf_offline
from twinangle.wearable.procedures import WearableTrial, estimate_motion
from twinangle.wearable.quality.magnetic_field import magnetic_disturbance

Array = NDArray[np.float64]
Orient = Callable[[SensorPair], OrientationPair]


def each(orient: Callable[[InertialRecording], OrientationRecording]) -> Orient:
    return lambda pair: OrientationPair(orient(pair.proximal), orient(pair.distal))


FILTERS: dict[str, Orient] = {
    "kalman": each(kalman),
    "two_sensors": lambda pair: orient_jointly(pair).pair,
    "vqf_offline": each(vqf_offline),
    "kalman_forward": each(kalman_forward),
    "vqf_forward": each(vqf_forward),
}
ASKED_DEG = 0.6  # heading of each sensor
FIELDS_UT = (0.0, 2.0, 3.0, 5.0, 10.0, 13.0)
HARDER: tuple[dict[str, Any], ...] = (  # none of them counts for how far a heading holds
    {"floor_ut": 0.0, "out_of_plane_deg": 4.0},
    {"floor_ut": 10.0, "out_of_plane_deg": 4.0},
    {"floor_ut": 20.0},
    {"floor_ut": 5.0, "soft_tissue_deg": 3.0, "straight_m": 5.0},
    {"floor_ut": 5.0, "soft_tissue_deg": 3.0, "straight_m": 5.0, "out_of_plane_deg": 4.0},
    {"floor_ut": 0.0, "sensor_errors": SensorErrors(gyroscope_scale=0.01)},
    {"floor_ut": 10.0, "sensor_errors": SensorErrors(gyroscope_scale=0.01)},
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
    """Print up to which of the fields each sensor's heading holds."""
    print(f"heading within {ASKED_DEG:g}° (root mean square) up to a floor's field of")
    for name, rows in reached.items():
        parts = []
        for sensor, column in (("thigh", 1), ("shank", 2)):
            held = [row[0] for row in rows if row[column] <= ASKED_DEG]
            parts.append(f"{sensor} {f'{max(held):g} µT' if held else 'none'}")
        print(f"  {name:14s} {', '.join(parts)}")


def described(changes: dict[str, Any]) -> str:
    """Return a walk's settings as text; of the sensor's errors only the one that is changed."""
    words = []
    for key, value in changes.items():
        if key == "sensor_errors":
            words.append(f"gyroscope scale error {100 * value.gyroscope_scale:g} % SD")
        else:
            words.append(f"{key} {value:g}")
    return ", ".join(words)


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    reached: dict[str, list[tuple[float, float, float]]] = {name: [] for name in FILTERS}
    for changes in ({"floor_ut": level} for level in FIELDS_UT):
        for name, headings in print_walks(changes, seeds, first).items():
            reached[name].append((changes["floor_ut"], *headings))
    print_reach(reached)
    for harder in HARDER:
        print_walks(harder, seeds, first)


def print_walks(changes: dict[str, Any], seeds: int, first: int) -> dict[str, tuple[float, float]]:
    """Print all figures of one kind of walk; return each filter's heading errors."""
    trials = [
        simulate_walk(rng=np.random.default_rng(seed), walk_s=60.0, **changes)
        for seed in range(first, first + seeds)
    ]
    print(f"{described(changes)}: {seeds} seeds from {first}")
    print_field(trials)
    headings = {name: print_filter(name, trials) for name in FILTERS}
    print_plane(trials)
    return headings


if __name__ == "__main__":
    main()
