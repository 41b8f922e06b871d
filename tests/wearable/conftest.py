"""Invented signals of two sensors either side of a hinge, with the true angle."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import InertialRecording, SensorPair

FIELD = np.array([0.0, 18.0, -44.0])  # µT, east north up
GRAVITY = np.array([0.0, 0.0, 9.81])


class InventedWalk:
    """Rigid thigh and shank about a moving knee: specific force and rates derived exactly.

    `abduction_deg` locks out-of-plane turning to flexion; `knee_amplitude_m` moves the joint
    centre; the person turns about the vertical while walking.
    """

    def __init__(self, seed=0, *, seconds=60.0, rate_hz=100.0, abduction_deg=0.0, noise=1.0):
        rng = np.random.default_rng(seed)
        n = int(seconds * rate_hz)
        time = np.arange(n) / rate_hz
        fine = 10  # derivatives are taken on a grid this much finer
        t = np.arange(n * fine) / (rate_hz * fine)
        walk = gaussian_filter1d((t > 14.0).astype(float), 0.15 * rate_hz * fine)
        bend = gaussian_filter1d(((t > 4.0) & (t < 12.0)).astype(float), 0.15 * rate_hz * fine)
        phase = 2 * np.pi * (t - 14.0) / 1.1
        self.flexion = np.radians(
            walk * (28 - 22 * np.cos(phase) - 8 * np.cos(2 * phase + 0.6))
            + bend * 40 * (1 - np.cos(2 * np.pi * (t - 4.0) / 2.0))
        )
        thigh_tilt = np.radians(walk * 22 * np.sin(phase) + bend * 3 * np.sin(3 * t))
        heading = walk * 0.06 * (t - 14.0) + 0.4 + walk * 0.06 * np.sin(phase / 2)
        lateral = np.array([0.0, 1.0, 0.0])
        thigh = Rotation.from_euler("ZY", np.stack([heading, -thigh_tilt], axis=1))
        self.abduction = (
            np.radians(abduction_deg)
            * np.sin(np.pi * np.clip(self.flexion / np.radians(80), 0, 1) * 1.5)
            * (walk + bend)
        )
        shank = (
            thigh
            * Rotation.from_rotvec(self.flexion[:, None] * lateral)
            * Rotation.from_rotvec(self.abduction[:, None] * np.array([1.0, 0.0, 0.0]))
        )
        along = np.stack([np.cos(heading), np.sin(heading), 0 * t], axis=1)
        knee = (
            along * (walk * 0.10 * np.sin(phase))[:, None]
            + np.array([0, 0, 1.0]) * (walk * 0.03 * np.cos(2 * phase))[:, None]
            + np.cross([0, 0, 1.0], along) * (walk * 0.02 * np.sin(phase / 2 + 1))[:, None]
        )
        self.mounts = Rotation.random(2, rng=rng)
        self.arms = (np.array([0.04, 0.03, 0.20]), np.array([0.05, -0.02, -0.15]))
        sensors = [
            self._sensor(segment, mount, arm, knee, rate_hz, fine, noise, rng)
            for segment, mount, arm in zip((thigh, shank), self.mounts, self.arms, strict=True)
        ]
        self.pair = SensorPair(*sensors)
        self.time = time
        self.truth_deg = np.degrees(self.flexion[::fine])

    def _sensor(self, segment, mount, arm, knee, rate_hz, fine, noise, rng):
        position = knee + segment.apply(arm)
        dt = 1 / (rate_hz * fine)
        acceleration = np.gradient(np.gradient(position, dt, axis=0), dt, axis=0) + GRAVITY
        orientation = segment * mount
        step = (orientation[:-1].inv() * orientation[1:]).as_rotvec() / dt
        rate = np.concatenate([step[:1], (step[1:] + step[:-1]) / 2, step[-1:]])
        pick = slice(None, None, fine)
        n = position[pick].shape[0]
        to_sensor = orientation[pick].inv()
        bias = noise * np.radians(0.3) * rng.normal(size=3)
        return InertialRecording(
            accelerometer=to_sensor.apply(acceleration[pick])
            + noise * 0.03 * rng.normal(size=(n, 3)),
            gyroscope=rate[pick] + bias + noise * np.radians(0.1) * rng.normal(size=(n, 3)),
            magnetometer=to_sensor.apply(FIELD) + noise * 0.4 * rng.normal(size=(n, 3)),
            start_s=0.0,
            rate_hz=rate_hz,
            source="invented",
        )


@pytest.fixture(scope="session")
def invented():
    return InventedWalk(1)


@pytest.fixture(scope="session")
def coupled():
    """A knee that is no hinge: 6° of abduction locked to flexion."""
    return InventedWalk(2, abduction_deg=6.0)
