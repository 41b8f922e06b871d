"""A sensor that stands still to the last digit while the other moves: its last value was held."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.outcome import Outcome, Subject, not_tested
from twinangle.signals.recording import InertialRecording
from twinangle.thresholds import told_apart

TEST = "held values"
LONGEST_HELD_S = 0.1
"""Own rule: a logger that repeats single samples does so over less."""
_MOVING_RAD_S = 0.5  # 29 °/s: RMS rate of the other sensor meanwhile
_SENSORS: tuple[Subject, Subject] = ("proximal sensor", "distal sensor")


def frozen_sensors(evidence: Evidence) -> tuple[Outcome, ...]:
    """Look for stretches in which every axis of gyroscope and accelerometer repeats exactly.

    Noise alone makes that impossible at a sensor that records; judged only where the other sensor
    moves meanwhile, as coarse steps may hold a still sensor's value.
    """
    pair = evidence.pair
    if pair is None:
        return tuple(
            not_tested(TEST, who, "the wearable delivers no raw signals") for who in _SENSORS
        )
    sensors = (pair.proximal, pair.distal)
    return tuple(
        _judged(who, own, other)
        for who, own, other in zip(_SENSORS, sensors, sensors[::-1], strict=True)
    )


def held(sensor: InertialRecording) -> NDArray[np.bool_]:
    """Return the samples that repeat the one before in all axes of both instruments."""
    values = np.concatenate([sensor.gyroscope, sensor.accelerometer], axis=1)
    same = np.zeros(values.shape[0], dtype=bool)
    same[1:] = (values[1:] == values[:-1]).all(axis=1)
    return same


def _judged(who: Subject, own: InertialRecording, other: InertialRecording) -> Outcome:
    same = held(own)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], same.astype(np.int8), [0]))))
    n = min(other.gyroscope.shape[0], same.size)
    speed = np.linalg.norm(other.gyroscope[:n], axis=1)
    stretches = []
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        meanwhile = speed[first:end]
        meanwhile = meanwhile[np.isfinite(meanwhile)]
        if meanwhile.size and np.sqrt(np.mean(meanwhile**2)) > _MOVING_RAD_S:
            stretches.append((int(end - first) / own.rate_hz, float(own.time_s[first])))
    longest, at_s = max(stretches, default=(0.0, 0.0))
    if longest <= LONGEST_HELD_S:
        return Outcome(TEST, who, "consistent", longest, LONGEST_HELD_S, "s")
    shown, limit = told_apart(longest, LONGEST_HELD_S, 2)
    n_long = sum(length > LONGEST_HELD_S for length, _ in stretches)
    others = f", the longest of {n_long} such stretches" if n_long > 1 else ""
    said = (
        f"{own.source}: for {shown} s from {at_s:.2f} s on{others} (more than {limit} s) every "
        "axis of gyroscope and accelerometer repeats its last value exactly while the other sensor "
        "moves: samples were lost and the last one held in their place. Leave the stretch out "
        "(`mask`), or export lost samples as empty cells."
    )
    return Outcome(TEST, who, "doubtful", longest, LONGEST_HELD_S, "s", said)
