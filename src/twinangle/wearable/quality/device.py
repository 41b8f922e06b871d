"""What the recordings themselves tell of the devices they were made with."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np

from twinangle.declare import measured, number
from twinangle.notices import Gravity, Notice
from twinangle.signals.gaps import bridge_sensor
from twinangle.signals.recording import Array, InertialRecording, Interval
from twinangle.thresholds import told_apart
from twinangle.wearable.procedure_input import slice_samples
from twinangle.wearable.saturation import find_ceilings
from twinangle.wearable.signal_units import STANDARD_GRAVITY

if TYPE_CHECKING:
    import pandas as pd

# Thresholds of the warnings; common practice with consumer-grade sensors, no source.
BIAS_LIMIT_DEG_S = 1.0
GYROSCOPE_NOISE_LIMIT_DEG_S = 0.5
NORM_ERROR_LIMIT = 0.02  # share of gravity
SATURATION_LIMIT = 0.0
DROPPED_LIMIT = 0.01
JITTER_LIMIT = 0.1  # of a sample
_QUIET_GYROSCOPE_RAD_S = np.radians(2.0)  # SD within a second
_QUIET_ACCELEROMETER_M_S2 = 0.15  # likewise
_STILL_RAD_S = np.radians(6.0)  # a mean rate above this is a turn, not a bias
# Nothing saturates below the smallest full scales in use: 250 °/s and 2 g (from memory).
_SMALLEST_FULL_SCALE = (np.radians(240.0), 1.9 * STANDARD_GRAVITY)


@dataclass(frozen=True, slots=True)
class DeviceQuality:
    """Result of :func:`device_quality`; a figure that the recording cannot tell is NaN."""

    source: Annotated[str, number("file and sensor")]
    rate_hz: Annotated[float, measured("hz", "sampling rate")]
    duration_s: Annotated[float, measured("s", "duration of the recording")]
    rest_s: Annotated[float, measured("s", "time at rest, which bias, norm and noise are from")]
    gyroscope_bias_deg_s: Annotated[float, measured("deg/s", "length of the mean rate at rest")]
    gyroscope_noise_deg_s: Annotated[
        float, measured("deg/s", "SD of one sample at rest, the worst axis")
    ]
    accelerometer_norm_error_m_s2: Annotated[
        float, measured("m/s2", "mean norm at rest minus 9.80665")
    ]
    accelerometer_noise_m_s2: Annotated[
        float, measured("m/s2", "SD of one sample at rest, the worst axis")
    ]
    saturated_share: Annotated[
        float, number("share of samples with a channel at the end of its range")
    ]
    dropped_share: Annotated[float, number("share of samples missing from the uniform clock")]
    longest_gap_s: Annotated[float, measured("s", "longest gap")]
    jitter_s: Annotated[float, measured("s", "SD of the time stamps about a uniform clock")]
    saturation: Annotated[
        str, number("which instrument is cut off along which axis, at which level; else empty")
    ] = ""

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is beyond its threshold, with the threshold."""
        bias, noise = self.gyroscope_bias_deg_s, self.gyroscope_noise_deg_s
        norm = self.accelerometer_norm_error_m_s2
        found: list[str] = []

        def tell(kind: str, gravity: Gravity, size: float, text: str) -> None:
            found.append(Notice(f"{self.source}: {text}.", kind, gravity, size))

        if bias > BIAS_LIMIT_DEG_S:
            value, limit = told_apart(bias, BIAS_LIMIT_DEG_S, 2)
            tell(
                "gyroscope-bias",
                "warning",
                bias,
                f"gyroscope bias {value} °/s, above {limit} °/s: calibrate it at rest",
            )
        if noise > GYROSCOPE_NOISE_LIMIT_DEG_S:
            value, limit = told_apart(noise, GYROSCOPE_NOISE_LIMIT_DEG_S, 2)
            tell(
                "gyroscope-noise",
                "warning",
                noise,
                f"gyroscope noise {value} °/s, above {limit} °/s",
            )
        if abs(norm) > NORM_ERROR_LIMIT * STANDARD_GRAVITY:
            value, limit = told_apart(100 * abs(norm) / STANDARD_GRAVITY, 100 * NORM_ERROR_LIMIT)
            tell(
                "accelerometer-off-gravity",
                "warning",
                abs(norm),
                f"accelerometer reads {norm:+.2f} m/s² off gravity at rest ({value} %), beyond "
                f"±{limit} %: calibrate it",
            )
        if self.saturation:
            tell(
                "saturation",
                "grave",
                self.saturated_share,
                f"{self.saturation}: what lies beyond is lost, and with a gyroscope the vertical "
                "may be after it; choose a wider range",
            )
        elif self.saturated_share > SATURATION_LIMIT:
            tell(
                "saturation",
                "grave",
                self.saturated_share,
                f"{self.saturated_share:.2%} of the samples are stuck at the end of a channel's "
                "range: choose a wider range",
            )
        if self.dropped_share > DROPPED_LIMIT:
            value, limit = told_apart(100 * self.dropped_share, 100 * DROPPED_LIMIT)
            tell(
                "samples-missing",
                "warning",
                self.dropped_share,
                f"{value} % of the samples are missing, above {limit} %; "
                f"the longest gap is {self.longest_gap_s:.2f} s",
            )
        if self.jitter_s * self.rate_hz > JITTER_LIMIT:
            value, limit = told_apart(self.jitter_s * self.rate_hz, JITTER_LIMIT, 2)
            tell(
                "uneven-time-stamps",
                "warning",
                self.jitter_s * self.rate_hz,
                f"time stamps scatter by {1000 * self.jitter_s:.1f} ms, which is {value} of a "
                f"sample, above {limit}",
            )
        return tuple(found)

    def summary(self) -> str:
        """Return one line for a terminal."""
        return (
            f"{self.source}: {self.duration_s:.0f} s at {self.rate_hz:g} Hz, at rest "
            f"{self.rest_s:.0f} s; gyroscope bias {self.gyroscope_bias_deg_s:.2f} °/s, noise "
            f"{self.gyroscope_noise_deg_s:.2f} °/s; accelerometer "
            f"{self.accelerometer_norm_error_m_s2:+.2f} m/s² off gravity; dropped "
            f"{self.dropped_share:.1%}, saturated {self.saturated_share:.2%}"
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row, unrounded."""
        import pandas as pd

        return pd.DataFrame([asdict(self) | {"warnings": " ".join(self.warnings)}])


def device_quality(
    sensor: InertialRecording, *, rest: Interval | None = None, time_s: Array | None = None
) -> DeviceQuality:
    """Judge a device by one of its recordings.

    Rest is the given interval or, without one, every second in which gyroscope and accelerometer
    scatter little (SD below 2 °/s and 0.15 m/s²) and the mean rate is below 6 °/s. A sample is
    saturated when a channel holds its largest or smallest value three times or more in a row and
    that value lies beyond 240 °/s or 1.9 g, or where peaks are cut flat at any level, see
    :func:`~twinangle.wearable.saturation.find_ceilings`. Time stamps are compared with the
    straight line that fits them best.

    Parameters
    ----------
    sensor : InertialRecording
        On its uniform clock, missing samples NaN.
    rest : Interval, optional
        When the sensor was at rest, on the recording's clock.
    time_s : (m,) array, optional
        The file's own time stamps, for the jitter.

    Raises
    ------
    AngleError
        If `rest` lies outside the recording.
    """
    signals = np.concatenate([sensor.gyroscope, sensor.accelerometer], axis=1)
    missing = ~np.isfinite(signals).all(axis=1)
    whole = bridge_sensor(sensor)  # one lost packet must not cost a second of rest
    ceilings = find_ceilings(whole)
    blocks = _rest_blocks(whole, np.concatenate([whole.gyroscope, whole.accelerometer], 1), rest)
    bias, noise = _at_rest(blocks)
    norm = [np.linalg.norm(block[:, 3:], axis=1).mean() for block in blocks]
    return DeviceQuality(
        source=sensor.source,
        rate_hz=sensor.rate_hz,
        duration_s=sensor.n_samples / sensor.rate_hz,
        rest_s=sum(block.shape[0] for block in blocks) / sensor.rate_hz,
        gyroscope_bias_deg_s=float(np.degrees(np.linalg.norm(bias[:3]))),
        gyroscope_noise_deg_s=float(np.degrees(noise[:3].max())),
        accelerometer_norm_error_m_s2=(
            float(np.mean(norm)) - STANDARD_GRAVITY if norm else float("nan")
        ),
        accelerometer_noise_m_s2=float(noise[3:].max()),
        saturated_share=float(
            np.any([_saturated(signals), *(ceiling.held for ceiling in ceilings)], axis=0).mean()
        ),
        dropped_share=float(missing.mean()),
        longest_gap_s=_longest_run(missing) / sensor.rate_hz,
        jitter_s=float("nan") if time_s is None else _jitter(np.asarray(time_s, dtype=float)),
        saturation="; ".join(ceiling.summary() for ceiling in ceilings),
    )


def _rest_blocks(sensor: InertialRecording, signals: Array, rest: Interval | None) -> list[Array]:
    """Return the signals of each stretch of rest, (k, 6) each."""
    if rest is not None:
        part = slice_samples(sensor.start_s, sensor.rate_hz, sensor.n_samples, rest, "rest")
        block = signals[part]
        return [block[np.isfinite(block).all(axis=1)]]
    length = max(int(sensor.rate_hz), 10)
    whole = signals[: signals.shape[0] // length * length].reshape(-1, length, 6)
    spread = whole.std(axis=1)
    mean = np.linalg.norm(whole[:, :, :3].mean(axis=1), axis=1)
    quiet = (
        (spread[:, :3].max(axis=1) < _QUIET_GYROSCOPE_RAD_S)
        & (spread[:, 3:].max(axis=1) < _QUIET_ACCELEROMETER_M_S2)
        & (mean < _STILL_RAD_S)
    )
    return list(whole[quiet])


def _at_rest(blocks: list[Array]) -> tuple[Array, Array]:
    """Return mean and white noise of the six channels; noise from differences, so drift is out."""
    if not blocks or blocks[0].shape[0] < 2:
        return np.full(6, np.nan), np.full(6, np.nan)
    mean = np.mean([block.mean(axis=0) for block in blocks], axis=0)
    steps = [np.mean(np.diff(block, axis=0) ** 2, axis=0) / 2 for block in blocks]
    return mean, np.sqrt(np.mean(steps, axis=0))


def _saturated(signals: Array) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    stuck = np.zeros(signals.shape[0], dtype=bool)
    for index, channel in enumerate(signals.T):
        known = channel[np.isfinite(channel)]
        for extreme in (known.max(initial=0.0), known.min(initial=0.0)):
            if abs(extreme) >= _SMALLEST_FULL_SCALE[index // 3]:
                at_end = channel == extreme
                stuck |= at_end & (_run_lengths(at_end) >= 3)
    return stuck


def _run_lengths(flags: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Array:
    """Return for each sample the length of the run of equal flags it is part of."""
    starts = np.flatnonzero(np.diff(flags, prepend=~flags[:1]))
    lengths = np.diff(np.append(starts, flags.size))
    return np.repeat(lengths, lengths).astype(np.float64)


def _longest_run(flags: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> float:
    return float(np.max(_run_lengths(flags)[flags], initial=0.0)) if flags.size else 0.0


def _jitter(time_s: Array) -> float:
    sample = np.arange(time_s.size)
    slope, start = np.polyfit(sample, time_s, 1)
    return float(np.std(time_s - (start + slope * sample)))
