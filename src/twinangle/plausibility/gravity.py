"""Whether an accelerometer measures gravity, and of the right size.

Over four seconds a person's own acceleration averages to little, so the specific force turned back
by the gyroscope and averaged is gravity's reaction, 9.81 m/s² long. Nearly nothing is left where
gravity was taken out (a "linear acceleration").
"""

from __future__ import annotations

import numpy as np

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frame import NO_SIGNALS, gravity_assignment
from twinangle.plausibility.outcome import Outcome, Subject, not_tested
from twinangle.plausibility.turned_back import turns
from twinangle.signals.recording import Array, InertialRecording
from twinangle.thresholds import told_apart
from twinangle.wearable import quaternions

TEST = "gravity"
STANDARD_GRAVITY = 9.80665
WINDOW_S = 4.0
NO_GRAVITY = 0.5  # share of gravity below which it was taken out
WARNED, REFUSED_SHARE = 0.06, 0.15
"""Distance of the size from gravity, as a share: honest recordings stay within 0.04."""
_SEGMENTS = ("proximal", "distal")
_MOST_WINDOWS = 240


def gravity(evidence: Evidence) -> tuple[Outcome, ...]:
    """Test the size of gravity in each accelerometer."""
    if evidence.pair is None:
        return (not_tested(TEST, "both sensors", NO_SIGNALS),)
    return tuple(_one(getattr(evidence.pair, _SEGMENTS[k]), k) for k in range(2))


def _one(sensor: InertialRecording, k: int) -> Outcome:
    subject: Subject = "distal sensor" if k else "proximal sensor"
    size = gravity_size(sensor)
    if not np.isfinite(size):
        return not_tested(TEST, subject, f"no {WINDOW_S:g} s of it are free of gaps.")
    if size < NO_GRAVITY * STANDARD_GRAVITY:
        return _without_gravity(sensor, subject, size)
    if gravity_assignment(sensor).contradicts:
        return not_tested(TEST, subject, "its axes contradict the gyroscope's.")
    size = _surest(size, sensor)
    off = size / STANDARD_GRAVITY - 1.0
    if abs(off) <= WARNED:
        return Outcome(TEST, subject, "consistent", size, STANDARD_GRAVITY, "m/s²")
    refused = abs(off) > REFUSED_SHARE
    edge = REFUSED_SHARE if refused else WARNED
    limit = STANDARD_GRAVITY * float(1.0 + np.copysign(edge, off))
    value, bound = told_apart(size, limit, 2)
    return Outcome(
        TEST,
        subject,
        "contradicted" if refused else "doubtful",
        size,
        limit,
        "m/s²",
        f"{sensor.source}: gravity measures {value} m/s² in the accelerometer (limit {bound} "
        f"m/s²), {100 * off:+.0f} % off 9.81 m/s²: its scale is wrong. Check its unit and range "
        "setting, or calibrate it.",
    )


def _surest(turned: float, sensor: InertialRecording) -> float:
    """Return the size nearer to gravity: turned back by the gyroscope, or the median length as is.

    A wrong gyroscope makes the first too small, a person's own acceleration the second wrong.
    """
    plain = float(np.nanmedian(np.linalg.norm(sensor.accelerometer, axis=1)))
    return min(turned, plain, key=lambda size: abs(size - STANDARD_GRAVITY))


def _without_gravity(sensor: InertialRecording, subject: Subject, size: float) -> Outcome:
    limit = NO_GRAVITY * STANDARD_GRAVITY
    value, bound = told_apart(size, limit)
    return Outcome(
        TEST,
        subject,
        "contradicted",
        size,
        limit,
        "m/s²",
        f"{sensor.source}: the accelerometer holds no gravity: over {WINDOW_S:g} s it averages to "
        f"{value} m/s² (at least {bound} m/s² is expected). It seems to be a linear acceleration, "
        "from which the device took gravity out. Export the raw accelerometer.",
    )


def gravity_size(sensor: InertialRecording) -> float:
    """Return the median size of the specific force averaged over windows, turned back, m/s²."""
    length = round(WINDOW_S * sensor.rate_hz)
    both = np.concatenate([sensor.gyroscope, sensor.accelerometer], axis=1)
    step = max(1, int(sensor.rate_hz / 25.0))
    windows = both[: both.shape[0] // length * length].reshape(-1, length, 6)
    windows = windows[np.isfinite(windows).all(axis=(1, 2))]
    if not windows.shape[0]:
        return float("nan")
    chosen = np.linspace(0, len(windows) - 1, min(len(windows), _MOST_WINDOWS)).round().astype(int)
    short = windows[chosen][:, : length // step * step]
    short = short.reshape(len(chosen), -1, step, 6).mean(axis=2)
    return float(np.median(_mean_size(short, sensor.rate_hz / step)))


def _mean_size(windows: Array, rate_hz: float) -> Array:
    turned = quaternions.rotate(turns(windows[:, :, :3], rate_hz), windows[:, :, 3:])
    weight = np.hanning(windows.shape[1] + 2)[1:-1]
    mean = np.tensordot(turned, weight / weight.sum(), axes=([1], [0]))
    return np.asarray(np.linalg.norm(mean, axis=1))
