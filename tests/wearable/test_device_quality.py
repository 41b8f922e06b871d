"""Device quality: figures put in are found again, thresholds warn."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from twinangle.signals.recording import InertialRecording, Interval
from twinangle.wearable.quality.device import device_quality
from twinangle.wearable.units import STANDARD_GRAVITY

# Two of the trials; the others are looked for beside the repository.
BROAD = Path(__file__).resolve().parents[2] / "../shared/data/broad"
if not BROAD.is_dir():
    BROAD = Path(__file__).resolve().parents[2] / "reference_data/broad"


def resting(seed=0, *, n=6000, bias_deg_s=0.5, noise_deg_s=0.1, scale=1.0):
    rng = np.random.default_rng(seed)
    up = np.array([0.6, 0.0, 0.8]) * STANDARD_GRAVITY * scale
    return InertialRecording(
        up + 0.02 * rng.normal(size=(n, 3)),
        np.radians([0.0, bias_deg_s, 0.0] + noise_deg_s * rng.normal(size=(n, 3))),
        None,
        10.0,
        100.0,
        "at_rest.csv",
    )


@pytest.mark.parametrize("rest", [None, Interval(12.0, 60.0)])
def test_figures_of_a_resting_sensor_are_found_again(rest):
    quality = device_quality(resting(scale=1.01), rest=rest)
    assert quality.gyroscope_bias_deg_s == pytest.approx(0.5, abs=0.01)
    assert quality.gyroscope_noise_deg_s == pytest.approx(0.1, rel=0.05)
    assert quality.accelerometer_norm_error_m_s2 == pytest.approx(0.098, abs=0.002)
    assert quality.accelerometer_noise_m_s2 == pytest.approx(0.02, rel=0.05)
    assert quality.rest_s == pytest.approx(60.0 if rest is None else 48.01)
    assert np.isnan(quality.jitter_s)
    assert quality.warnings == ()
    assert "bias 0.50 °/s" in quality.summary()
    assert len(quality.to_frame()) == 1


def test_each_threshold_warns_with_its_value():
    sensor = resting(bias_deg_s=1.5, noise_deg_s=0.7, scale=0.97)
    gyroscope = sensor.gyroscope.copy()
    gyroscope[3000:3100] = np.nan
    gyroscope[4000:4010, 1] = np.radians(500.0)
    gyroscope[4500:4510, 1] = np.radians(300.0) + 0.01 * np.arange(10)  # fast, but not stuck
    time = 10 + np.arange(6000) / 100 + np.where(np.arange(6000) % 2, 0.002, -0.002)
    quality = device_quality(replace(sensor, gyroscope=gyroscope), time_s=time)
    assert quality.dropped_share == pytest.approx(100 / 6000)
    assert quality.longest_gap_s == pytest.approx(1.0)
    assert quality.saturated_share == pytest.approx(10 / 6000)
    assert quality.jitter_s == pytest.approx(0.002, rel=0.01)
    text = " ".join(quality.warnings)
    for part in (
        "at_rest.csv: gyroscope bias 1.",
        "above 1 °/s",
        "gyroscope noise 0.7",
        "-0.29 m/s² off gravity",
        "0.17% of the samples are stuck",
        "1.7 % of the samples are missing, above 1 %; the longest gap is 1.00 s",
        "time stamps scatter by 2.0 ms, which is 0.20 of a sample, above 0.1",
    ):
        assert part in text


def test_a_sensor_never_at_rest_has_no_resting_figures(invented):
    walking = invented.pair.distal
    part = replace(
        walking, accelerometer=walking.accelerometer[2000:], gyroscope=walking.gyroscope[2000:]
    )
    quality = device_quality(part)
    assert quality.rest_s == 0
    assert np.isnan(quality.gyroscope_bias_deg_s)
    assert np.isnan(quality.accelerometer_norm_error_m_s2)
    assert quality.warnings == ()


def test_open_set_is_calibrated():
    """Laidig et al. (2021), Data 6:72."""
    paths = sorted(BROAD.glob("*.npz"))
    assert len(paths) >= 2
    for path in paths:
        data = np.load(path)
        signals = (data[name].astype(float) for name in ("imu_acc", "imu_gyr", "imu_mag"))
        sensor = InertialRecording(*signals, 0.0, 285.714, path.stem)
        quality = device_quality(sensor)
        assert quality.rest_s > 30
        assert quality.gyroscope_bias_deg_s < 1
        assert abs(quality.accelerometer_norm_error_m_s2) < 0.1
