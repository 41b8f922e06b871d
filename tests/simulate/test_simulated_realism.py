"""The simulated walk against open recordings of real ones."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.signal import butter, filtfilt

from twinangle.signals.recording import Array
from twinangle.simulate import SimulatedTrial
from twinangle.simulate.gait import THIGH_HARMONICS, THIGH_MEAN_DEG

REFERENCE = Path(__file__).resolve().parents[2] / "reference_data"


def test_the_thigh_follows_the_published_trial() -> None:
    # Winter (2009), Biomechanics and Motor Control of Human Movement, appendix A, table A.1; the
    # right stride is frames 28 to 97 (from memory), heel contact to heel contact.
    frame = pd.read_csv(REFERENCE / "winter_walking_markers.csv")
    smooth = butter(2, 6.0, fs=69.9)
    hip, knee = (
        filtfilt(*smooth, frame[[f"{name}_x_cm", f"{name}_y_cm"]].to_numpy(), axis=0)
        for name in ("hip", "knee")
    )
    along = knee - hip
    thigh = np.degrees(np.arctan2(along[:, 0], -along[:, 1]))[27:96]
    phase = np.arange(69) / 69
    model = THIGH_MEAN_DEG + sum(
        height * np.cos(2 * np.pi * order * (phase - peak))
        for order, (height, peak) in enumerate(THIGH_HARMONICS, start=1)
    )

    assert np.sqrt(np.mean((thigh - model) ** 2)) < 0.5


def marker_signals(path: Path, side: str) -> tuple[Array, Array, Array, Array]:
    """Return specific force and turning rate of thigh and shank, at the sensors' usual places."""
    frame = pd.read_csv(path)

    def marker(name: str) -> Array:
        columns = [f"{side}_{name}_{axis}_mm" for axis in "xyz"]
        smooth = butter(2, 12.0, fs=150.0)
        return np.asarray(filtfilt(*smooth, frame[columns].to_numpy(), axis=0) / 1000)

    def force(place: Array) -> Array:
        moving = np.gradient(np.gradient(place, 1 / 150, axis=0), 1 / 150, axis=0)
        moving[:, 1] += 9.81  # y is up in these files
        return np.asarray(np.linalg.norm(moving, axis=1)[15:-15])

    def rate(top: Array, bottom: Array) -> Array:
        along = (bottom - top) / np.linalg.norm(bottom - top, axis=1, keepdims=True)
        return np.asarray(np.linalg.norm(np.gradient(along, 1 / 150, axis=0), axis=1)[15:-15])

    hip, knee, ankle = marker("GTR"), marker("Knee"), marker("Ankle")
    return (
        force(hip + 0.57 * (knee - hip)),
        force(knee + 0.4 * (ankle - knee)),
        rate(hip, knee),
        rate(knee, ankle),
    )


@pytest.mark.parametrize("trial", ["walk_1_150hz.csv", "walk_2_150hz.csv"])
@pytest.mark.parametrize("side", ["L", "R"])
def test_signals_are_as_lively_as_those_of_a_real_walk(
    usual_trial: SimulatedTrial, trial: str, side: str
) -> None:
    # Marker recordings of walking, course material of a university (CC BY 4.0).
    path = REFERENCE / "walking_markers" / trial
    *forces, thigh_rate, shank_rate = marker_signals(path, side)
    walking = usual_trial.truth.knee.time_s > usual_trial.truth.walking.start_s
    pair = (usual_trial.sensors.proximal, usual_trial.sensors.distal)
    for sensor, real in zip(pair, forces, strict=True):
        felt = np.linalg.norm(sensor.accelerometer[walking], axis=1)
        assert np.median(felt) == pytest.approx(np.median(real), abs=1.2)
        assert_allclose(np.quantile(felt, [0.25, 0.75]), np.quantile(real, [0.25, 0.75]), atol=2.5)
    for sensor, real in zip(pair, (thigh_rate, shank_rate), strict=True):
        turning = np.linalg.norm(sensor.gyroscope[walking], axis=1)
        assert np.quantile(turning, 0.95) == pytest.approx(np.quantile(real, 0.95), rel=0.35)
