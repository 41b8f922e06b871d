"""A sensor whose last value was held is named as that, with time and length."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frozen import frozen_sensors
from twinangle.signals.recording import InertialRecording, SensorPair

RATE_HZ = 100.0
N = 1000


def sensor(seed, moving=True):
    rng = np.random.default_rng(seed)
    swing = np.sin(2 * np.pi * np.arange(N) / RATE_HZ)[:, None] * (2.0 if moving else 0.0)
    rate = swing + rng.normal(0, 0.01, (N, 3))
    force = np.array([0.0, 0.0, 9.81]) + rng.normal(0, 0.05, (N, 3))
    return InertialRecording(force, rate, None, 0.0, RATE_HZ, "invented.csv")


def freeze(sensor, first, count, axes=3):
    parts = {}
    for name in ("gyroscope", "accelerometer"):
        values = np.array(getattr(sensor, name))
        values[first : first + count, :axes] = values[first, :axes]
        parts[name] = values
    return replace(sensor, **parts)


def judged(proximal, distal):
    return frozen_sensors(Evidence(SensorPair(proximal, distal)))


def test_a_value_held_for_a_fifth_of_a_second_is_named():
    """It was called a slip, or a knock of the reference."""
    other, found = judged(sensor(1), freeze(sensor(2), 400, 21))
    assert other.verdict == "consistent"
    assert (found.subject, found.verdict) == ("distal sensor", "doubtful")
    assert found.value == pytest.approx(0.2)
    assert "for 0.20 s from 4.01 s on" in found.said
    assert "last one held" in found.said


@pytest.mark.parametrize(
    ("proximal", "distal"),
    [
        (sensor(1), sensor(2)),
        (sensor(1), freeze(sensor(2), 400, 9)),  # single samples repeated
        (sensor(1), freeze(sensor(2), 400, 40, axes=2)),  # one axis goes on
        (sensor(1, moving=False), freeze(sensor(2), 400, 40)),  # both at rest
    ],
)
def test_what_is_none_is_not(proximal, distal):
    assert {one.verdict for one in judged(proximal, distal)} == {"consistent"}


def test_without_raw_signals_it_is_not_tested():
    assert {one.verdict for one in frozen_sensors(Evidence(None))} == {"not tested"}
