"""The sensors' own signals: bias, noise, gaps and jitter."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict

from twinangle.report.blocks import Block, Column, described, heading, scaled_cells
from twinangle.results import TrialResult
from twinangle.results.grouping import Naming
from twinangle.wearable.quality.device import (
    BIAS_LIMIT_DEG_S,
    DROPPED_LIMIT,
    GYROSCOPE_NOISE_LIMIT_DEG_S,
    JITTER_LIMIT,
    NORM_ERROR_LIMIT,
)

_DEVICE = {
    "rate_hz": ("Rate (Hz)", 1, 1.0),
    "rest_s": ("Rest (s)", 1, 1.0),
    "gyroscope_bias_deg_s": ("Gyr. bias (°/s)", 2, 1.0),
    "gyroscope_noise_deg_s": ("Gyr. noise (°/s)", 3, 1.0),
    "accelerometer_norm_error_m_s2": ("Acc. norm (m/s²)", 3, 1.0),
    "accelerometer_noise_m_s2": ("Acc. noise (m/s²)", 3, 1.0),
    "saturated_share": ("Saturated (%)", 2, 100.0),
    "dropped_share": ("Dropped (%)", 2, 100.0),
    "longest_gap_s": ("Longest gap (s)", 2, 1.0),
    "jitter_ms": ("Jitter (ms)", 2, 1.0),
}
_SAYS = {"jitter_ms": "jitter: scatter of the file's time stamps about an even clock"}


def sensors_blocks(trials: Iterable[TrialResult], naming: Naming) -> list[Block]:
    """Return the quality of each sensor's own signals."""
    rows = [
        [
            trial.participant,
            naming.heading(trial).replace(" ", "\u00a0"),  # many columns: no line is split
            sensor.segment,
            *scaled_cells(asdict(sensor.device) | _jitter(trial), _DEVICE),
        ]
        for trial in trials
        for sensor in trial.sensors
    ]
    found = described(
        "Sensors: bias, noise and norm are from the time at rest; noise is the worst axis'.",
        [
            *(Column(name) for name in ("Participant", "Recording", "Sensor")),
            *(Column(name, _SAYS.get(key, "")) for key, (name, *_) in _DEVICE.items()),
        ],
        rows,
        words=3,
        end="A warning is given for a "
        f"bias above {BIAS_LIMIT_DEG_S:g} °/s, noise above {GYROSCOPE_NOISE_LIMIT_DEG_S:g} °/s, a "
        f"norm beyond ±{100 * NORM_ERROR_LIMIT:g} % of gravity, any saturated sample, more than "
        f"{100 * DROPPED_LIMIT:g} % dropped, and jitter above {JITTER_LIMIT:g} of a sample (common "
        "practice, no source).",
    )
    return [heading("Sensors"), *found] if found else []


def _jitter(trial: TrialResult) -> dict[str, float]:
    """Return the scatter of the wearable's time stamps, where it is known."""
    timing = trial.timing.get("wearable")
    return {} if timing is None else {"jitter_ms": timing.jitter_ms}
