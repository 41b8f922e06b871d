"""Six trials of Laidig et al. (2021), Data 6:72: a hand-moved sensor against optical tracking.

Golden values: errors of the `vqf` library (2.1.2) on these trials, computed beforehand by another
hand; the paper's own table was not seen. Two of the trials lie in `reference_data/broad` (CC BY
4.0, single precision); the others are looked for beside the repository and skipped by name.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import InertialRecording
from twinangle.wearable.orientation import (
    OrientationFilter,
    kalman,
    kalman_forward,
    vqf_forward,
    vqf_offline,
)

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = (ROOT / "../shared/data/broad", ROOT / "reference_data/broad")
# total, heading, inclination in degrees, of `vqf_forward`
GOLDEN = {
    "02_undisturbed_slow_rotation_B": (1.38, 1.31, 0.43),
    "07_undisturbed_fast_rotation_B": (1.76, 1.43, 1.02),
    "16_undisturbed_fast_translation_B": (0.74, 0.51, 0.54),
    "21_undisturbed_fast_combined": (4.08, 3.70, 1.72),
    "28_disturbed_stationary_magnet_A": (4.04, 3.86, 1.21),
    "34_disturbed_attached_magnet_3cm": (3.35, 3.29, 0.65),
}


def trial(name: str):
    found = [folder / f"{name}.npz" for folder in FOLDERS if (folder / f"{name}.npz").is_file()]
    if not found:
        pytest.skip(f"trial {name} of Laidig et al. (2021) is absent")
    data = np.load(found[0])
    sensor = InertialRecording(
        accelerometer=data["imu_acc"].astype(float),
        gyroscope=data["imu_gyr"].astype(float),
        magnetometer=data["imu_mag"].astype(float),
        start_s=0.0,
        rate_hz=float(data["sampling_rate"]),
        source=name,
        gyroscope_sample="interval-mean",
    )
    return sensor, data["opt_quat"].astype(float), data["movement"].astype(bool)


@cache
def rmse_deg(estimate: OrientationFilter, name: str) -> np.ndarray:
    """RMSE of total, heading and inclination error over a trial's motion phases."""
    sensor, optical, movement = trial(name)
    use = movement & np.isfinite(optical).all(axis=1)
    found = Rotation.from_quat(estimate(sensor).quaternion[use], scalar_first=True)
    truth = Rotation.from_quat(optical[use], scalar_first=True)
    x, y, z, w = (found * truth.inv()).as_quat().T
    total = 2 * np.arctan2(np.sqrt(x**2 + y**2 + z**2), np.abs(w))
    heading = 2 * np.arctan(np.abs(z / w))
    inclination = 2 * np.arctan2(np.hypot(x, y), np.hypot(w, z))
    errors = (total, heading, inclination)
    return np.array([np.degrees(np.sqrt(np.mean(v**2))) for v in errors])


def mean_rmse_deg(estimate: OrientationFilter) -> np.ndarray:
    return np.mean([rmse_deg(estimate, name) for name in GOLDEN], axis=0)


@pytest.mark.parametrize("name", GOLDEN)
def test_library_filter_gives_its_known_errors(name):
    np.testing.assert_allclose(rmse_deg(vqf_forward, name), GOLDEN[name], atol=0.01)


@pytest.mark.parametrize(
    "name", ["02_undisturbed_slow_rotation_B", "34_disturbed_attached_magnet_3cm"]
)
def test_smoother_beats_the_library_on_either_kind_of_trial(name):
    assert rmse_deg(kalman, name)[1] < rmse_deg(vqf_offline, name)[1]


def test_smoothed_errors():
    total, _, inclination = mean_rmse_deg(kalman)
    assert total <= 1.3
    assert inclination <= 0.66


def test_forward_errors():
    total, _, inclination = mean_rmse_deg(kalman_forward)
    assert total <= 2.4
    assert inclination <= 1.05


def test_smoother_beats_the_library_on_heading():
    assert mean_rmse_deg(kalman)[1] < mean_rmse_deg(vqf_offline)[1]
