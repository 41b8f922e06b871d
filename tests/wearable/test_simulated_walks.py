"""The procedures without magnetometers on simulated walks: heading and angle against the truth."""

import numpy as np
import pytest

from twinangle.signals.recording import OrientationPair
from twinangle.simulate import simulate_walk
from twinangle.wearable import quaternions
from twinangle.wearable.heading.relative import joint_centre_heading
from twinangle.wearable.orientation import vqf_offline
from twinangle.wearable.procedures import WearableTrial, estimate_motion


def simulated(seed, **changes):
    return simulate_walk(rng=np.random.default_rng(seed), walk_s=40.0, **changes)


def trial_of(walk, sensors=None):
    return WearableTrial(walk.sensors if sensors is None else sensors, walk.static, walk.functional)


def relative_heading_error_deg(walk):
    bare = [one.without_magnetometer() for one in (walk.sensors.proximal, walk.sensors.distal)]
    oriented = OrientationPair(*(vqf_offline(one) for one in bare))
    found = joint_centre_heading(walk.sensors, oriented)
    turned, truth = found.apply(oriented), walk.truth.sensors
    yaw = []
    for one in ("proximal", "distal"):
        error = quaternions.multiply(
            getattr(turned, one).quaternion, quaternions.conjugate(getattr(truth, one).quaternion)
        )
        yaw.append(2 * np.arctan2(error[:, 3], error[:, 0]))
    return np.degrees((yaw[1] - yaw[0] + np.pi) % (2 * np.pi) - np.pi), found


@pytest.mark.parametrize(
    ("seed", "changes"),
    [
        (0, {}),
        # Skin and motion outside the hinge: 1.6° RMS without whitening.
        (2, {"soft_tissue_deg": 1.0, "out_of_plane_deg": 4.0}),
        (3, {"soft_tissue_deg": 1.0, "out_of_plane_deg": 4.0}),
        (4, {"soft_tissue_deg": 1.0}),
        (5, {"soft_tissue_deg": 1.0}),
    ],
)
def test_heading_and_its_stated_error(seed, changes):
    error, found = relative_heading_error_deg(simulated(seed, **changes))
    rms = np.sqrt(np.mean(error**2))
    assert rms < 1.0
    assert rms < 2 * found.standard_error_deg
    assert abs(error.mean()) < 3 * found.mean_error_deg < 3 * found.standard_error_deg


@pytest.mark.parametrize("name", ["kalman-joint-centre", "vqf-joint-centre"])
def test_the_magnetic_floor_does_not_reach_them(name):
    walk = simulated(3, floor_ut=20.0)
    motion = estimate_motion(trial_of(walk), name)
    assert np.std(motion.angle.angle_deg - walk.truth.knee.angle_deg) < 0.45
    assert motion.warnings == ()


@pytest.mark.parametrize("name", ["kalman-joint-centre", "vqf-joint-centre"])
@pytest.mark.parametrize("seed", [4, 5])
def test_soft_tissue_costs_what_the_true_orientations_cost(name, seed):
    """The error due to motion of the skin and outside the hinge is not the procedure's."""
    walk = simulated(seed, soft_tissue_deg=1.0, out_of_plane_deg=4.0)
    ours = estimate_motion(trial_of(walk), name).angle.angle_deg
    true = estimate_motion(trial_of(walk, walk.truth.sensors), "orientation").angle.angle_deg
    truth = walk.truth.knee.angle_deg
    assert abs(np.std(ours - truth) - np.std(true - truth)) < 0.1
