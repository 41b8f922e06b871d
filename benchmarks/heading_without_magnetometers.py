"""Relative heading and flexion without magnetometers, on simulated walking with known truth.

Run: ``python benchmarks/heading_without_magnetometers.py [SEEDS]`` (default 8). Each line is the
RMS (largest) over the seeds of the heading error, and of the demeaned difference of the flexion
angle from what the sensors' true orientations give, sample by sample.
"""

import sys

import numpy as np

from twinangle.recording import OrientationPair, SensorPair
from twinangle.simulate import SimulatedTrial, simulate_walk
from twinangle.wearable import quaternions
from twinangle.wearable.heading import joint_centre_heading
from twinangle.wearable.hinge import hinge_heading
from twinangle.wearable.orientation import kalman, vqf_offline
from twinangle.wearable.procedures import WearableTrial, estimate_motion

KINDS = {
    "rigid sensors": {},
    "soft tissue 1° and 2 mm": {"soft_tissue_deg": 1.0},
    "soft tissue, 4° out of plane": {"soft_tissue_deg": 1.0, "out_of_plane_deg": 4.0},
}
METHODS = {
    "vqf-joint-centre": (vqf_offline, joint_centre_heading),
    "kalman-joint-centre": (kalman, joint_centre_heading),
    "vqf-hinge": (vqf_offline, hinge_heading),
}


def heading_error_deg(sensors: SensorPair, truth: OrientationPair, name: str) -> np.ndarray:
    """Return the relative heading's error at every sample."""
    orient, find = METHODS[name]
    bare = [one.without_magnetometer() for one in (sensors.proximal, sensors.distal)]
    found = OrientationPair(orient(bare[0]), orient(bare[1]))
    turned = find(sensors, found).apply(found)

    def yaw(ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
        error = quaternions.multiply(ours, quaternions.conjugate(theirs))
        return 2 * np.arctan2(error[:, 3], error[:, 0])

    error = yaw(turned.distal.quaternion, truth.distal.quaternion) - yaw(
        turned.proximal.quaternion, truth.proximal.quaternion
    )
    return np.degrees((error + np.pi) % (2 * np.pi) - np.pi)


def flexion_error_deg(trial: SimulatedTrial, name: str) -> float:
    """Return the SD of the angle's difference from that of the true orientations."""
    parts = (trial.static, trial.functional)
    ours = estimate_motion(WearableTrial(trial.sensors, *parts), name)
    true = estimate_motion(WearableTrial(trial.truth.sensors, *parts), "orientation")
    return float(np.std(ours.angle.angle_deg - true.angle.angle_deg))


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    for kind, changes in KINDS.items():
        trials = [
            simulate_walk(rng=np.random.default_rng(seed), walk_s=60.0, **changes)
            for seed in range(seeds)
        ]
        for name in METHODS:
            heading = [
                np.sqrt(np.mean(heading_error_deg(one.sensors, one.truth.sensors, name) ** 2))
                for one in trials
            ]
            angle = [flexion_error_deg(one, name) for one in trials]
            print(
                f"{kind:30s} {name:20s} heading {np.sqrt(np.mean(np.square(heading))):.2f}° "
                f"({max(heading):.2f}°)   flexion {np.sqrt(np.mean(np.square(angle))):.2f}° "
                f"({max(angle):.2f}°)"
            )


if __name__ == "__main__":
    main()
