"""A seeded moving sensor whose true orientation is known."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import InertialRecording

GRAVITY = 9.81
FIELD = np.array([0.0, 18.0, -45.0])  # µT, north and down: mid-latitudes (from memory)


@dataclass(frozen=True)
class Moving:
    sensor: InertialRecording
    truth: Rotation


def _waves(time: np.ndarray, rng: np.random.Generator, size: float, hz: float) -> np.ndarray:
    """Three channels, each a sum of four sines up to `hz`, of RMS `size`."""
    total = np.zeros((time.size, 3))
    for _ in range(4):
        phase, rate = rng.uniform(0, 2 * np.pi, 3), rng.uniform(0.1, 1, 3) * hz
        total += size / np.sqrt(2) * np.sin(2 * np.pi * rate * time[:, None] + phase)
    return total


@pytest.fixture
def moving_sensor() -> Callable[..., Moving]:
    """Build a sensor that rests, then turns and shakes; all from one seeded generator."""

    def build(
        seed: int,
        *,
        seconds: float = 60.0,
        rate_hz: float = 100.0,
        rest_s: float = 4.0,
        noise: float = 1.0,
        bias_deg_s: float = 0.4,
        turn: Rotation | None = None,
        sample: str = "interval-mean",
        still: bool = False,
    ) -> Moving:
        rng = np.random.default_rng(seed)
        fine = 10  # steps a sample, for the interval mean
        time = np.arange(int(seconds * rate_hz) * fine) / (rate_hz * fine)
        ramp = np.clip((time - rest_s) / 2, 0, 1)[:, None] ** 2 * (0.0 if still else 1.0)
        angles = _waves(time, rng, 0.6, 0.8) * ramp + rng.uniform(-1, 1, 3)
        truth = Rotation.from_euler("ZYX", angles)
        force = _waves(time, rng, 2.0, 2.0) * ramp + [0, 0, GRAVITY]
        if turn is not None:
            truth, force = turn * truth, turn.apply(force)
        step = (truth[:-1].inv() * truth[1:]).as_rotvec() * rate_hz * fine
        step = np.vstack([step[:1], step])
        keep = np.arange(0, time.size, fine)
        rate = step[keep]
        if sample == "interval-mean":
            ends = np.cumsum(step, axis=0)
            rate[1:] = np.diff(ends[keep], axis=0) / fine
        truth = truth[keep]
        shape = (keep.size, 3)
        bias = np.radians(bias_deg_s) * np.array([1.0, -1.0, 0.5])
        sensor = InertialRecording(
            accelerometer=truth.inv().apply(force[keep]) + noise * 0.02 * rng.normal(size=shape),
            gyroscope=rate + bias + noise * np.radians(0.1) * rng.normal(size=shape),
            magnetometer=truth.inv().apply(FIELD) + noise * 0.5 * rng.normal(size=shape),
            start_s=0.0,
            rate_hz=rate_hz,
            source="moving",
            gyroscope_sample=sample,  # type: ignore[arg-type]
        )
        return Moving(sensor, truth)

    return build


@pytest.fixture
def apart_deg() -> Callable[..., np.ndarray]:
    """Angle between two sets of quaternions, scalar first, NaN where either is missing."""

    def angle(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        # the chord keeps its precision near zero where the arc cosine has none
        chord = np.minimum(np.linalg.norm(a - b, axis=-1), np.linalg.norm(a + b, axis=-1))
        return np.asarray(np.degrees(4 * np.arcsin(np.clip(chord / 2, 0, 1))))

    return angle
