"""Flexion and relative heading without magnetometers, on simulated walking with known truth.

Run: ``python benchmarks/heading_without_magnetometers.py [SEEDS [FIRST]]`` (8 seeds from 0).

Every number is the RMS over the seeds and, in brackets, the largest of them:

heading     RMS over the samples of the error of the sensors' relative heading
estimation  SD of the angle's difference from that of the sensors' true orientations
total       SD of the angle's difference from the true flexion, sample by sample (RMS demeaned)
motion      the part of `total` that the true orientations have too: skin, and motion outside the
            hinge plane, which no orientation filter could avoid

Each walk lasts 60 s, after standing and a functional movement; rates are instantaneous and declared
so. The disturbed field is that of iron in the floor, 20 µT RMS at floor level.
"""

import sys

import numpy as np

from twinangle.signals.recording import OrientationPair, SensorPair
from twinangle.simulate import SimulatedTrial, simulate_walk
from twinangle.wearable import quaternions
from twinangle.wearable.heading.hinge import hinge_heading
from twinangle.wearable.heading.relative import joint_centre_heading
from twinangle.wearable.heading.two_sensors import orient_jointly
from twinangle.wearable.orientation import kalman, vqf_offline
from twinangle.wearable.procedures import WearableTrial, estimate_motion

KINDS = {
    "rigid sensors": {},
    "the same, disturbed field": {"floor_ut": 20.0},
    "4° out of plane": {"out_of_plane_deg": 4.0},
    "soft tissue 1° and 2 mm": {"soft_tissue_deg": 1.0},
    "both": {"soft_tissue_deg": 1.0, "out_of_plane_deg": 4.0},
}
# How each procedure finds the heading; None where it takes it from the magnetometers.
METHODS = {
    "kalman": None,
    "kalman-two-sensors": None,
    "vqf": None,
    "kalman-joint-centre": (kalman, joint_centre_heading),
    "vqf-joint-centre": (vqf_offline, joint_centre_heading),
    "kalman-hinge": (kalman, hinge_heading),
    "vqf-hinge": (vqf_offline, hinge_heading),
}


def oriented_by(sensors: SensorPair, name: str) -> OrientationPair:
    """Return both sensors' orientations in one earth frame, as the procedure has them."""
    if name == "kalman-two-sensors":
        return orient_jointly(sensors).pair
    orient, find = METHODS[name] or ({"kalman": kalman, "vqf": vqf_offline}[name], None)
    pair = [sensors.proximal, sensors.distal]
    if find is not None:
        pair = [one.without_magnetometer() for one in pair]
    turned = OrientationPair(orient(pair[0]), orient(pair[1]))
    return turned if find is None else find(sensors, turned).apply(turned)


def heading_error_deg(sensors: SensorPair, truth: OrientationPair, name: str) -> np.ndarray:
    """Return the relative heading's error at every sample."""
    turned = oriented_by(sensors, name)

    def yaw(ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
        error = quaternions.multiply(ours, quaternions.conjugate(theirs))
        return 2 * np.arctan2(error[:, 3], error[:, 0])

    error = yaw(turned.distal.quaternion, truth.distal.quaternion) - yaw(
        turned.proximal.quaternion, truth.proximal.quaternion
    )
    return np.degrees((error + np.pi) % (2 * np.pi) - np.pi)


def errors_of(trial: SimulatedTrial, name: str) -> tuple[float, float, float, float]:
    """Return heading, estimation, total and motion of one trial, in degrees."""
    parts = (trial.static, trial.functional)
    ours = estimate_motion(WearableTrial(trial.sensors, *parts), name).angle.angle_deg
    true = estimate_motion(WearableTrial(trial.truth.sensors, *parts), "orientation")
    oriented, knee = true.angle.angle_deg, trial.truth.knee.angle_deg
    heading = heading_error_deg(trial.sensors, trial.truth.sensors, name)
    return (
        float(np.sqrt(np.mean(heading**2))),
        float(np.std(ours - oriented)),
        float(np.std(ours - knee)),
        float(np.std(oriented - knee)),
    )


def main() -> None:
    given = [int(text) for text in sys.argv[1:]]
    seeds, first = (given + [8, 0][len(given) :])[:2]
    names = ("heading", "estimation", "total", "motion")
    print(f"{'':26s} {'procedure':20s}" + "".join(f"{name:>15s}" for name in names))
    for kind, changes in KINDS.items():
        trials = [
            simulate_walk(rng=np.random.default_rng(seed), walk_s=60.0, **changes)
            for seed in range(first, first + seeds)
        ]
        for name in METHODS:
            values = np.array([errors_of(one, name) for one in trials])
            rms, most = np.sqrt(np.mean(values**2, axis=0)), values.max(axis=0)
            cells = "".join(
                f"{f'{a:.2f}° ({b:.2f}°)':>15s}" for a, b in zip(rms, most, strict=True)
            )
            print(f"{kind:26s} {name:20s}{cells}", flush=True)


if __name__ == "__main__":
    main()
