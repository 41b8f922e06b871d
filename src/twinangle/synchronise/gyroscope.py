"""The lag once more, from the wearable's gyroscopes instead of its angle."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t

from twinangle.errors import SynchronisationError
from twinangle.recording import (
    AngleRecording,
    Array,
    InertialRecording,
    Interval,
    SensorPair,
    Synchronisation,
)
from twinangle.synchronise.band import BandLimited, band_limit
from twinangle.synchronise.clockfit import (
    ClockLine,
    autoregression,
    cluster_sums,
    overlap_times,
    repeating_part,
    solve_normal,
    whiten,
)
from twinangle.synchronise.clustered import clustered_errors
from twinangle.synchronise.intervals import lag_interval
from twinangle.synchronise.search import CUTOFF_HZ, NATIVE_RATE_HZ, WORK_RATE_HZ, period
from twinangle.synchronise.strides import find_strides, phase_columns

_ITERATIONS = 4
_CONVERGED_S = 1e-6
_REACH_S = 0.25  # farther from the angle's lag the gyroscopes see another movement
_LONGEST_S = 1200.0  # of a long recording, the stretch about the middle of the overlap
_LEAST_CORRELATION = 0.7
_WORTH_S = 0.002  # a smaller disagreement moves the RMS by less than 0.4°


@dataclass(frozen=True, slots=True)
class GyroscopeLag:
    """The lag the gyroscopes give, about `centre_s` of the reference clock.

    `difference_s` is the angle's lag minus the gyroscopes': positive where the procedure that
    computed the angle delays it. `interval` holds the difference with the confidence asked for,
    statistical and systematic parts of both lags added in quadrature; `disagree` tells whether it
    leaves out 0 and the difference is worth a word (2 ms).
    """

    centre_s: float
    lag_s: float
    lag_se_s: float
    lag_df: float
    lag_systematic_s: float
    drift_ppm: float
    drift_se_ppm: float
    drift_df: float
    correlation: float  # multiple correlation of the reference's rate with the gyroscopes
    difference_s: float
    interval: Interval
    disagree: bool

    def summary(self) -> str:
        """Return one sentence for a report."""
        low, high = 1e3 * self.interval.start_s, 1e3 * self.interval.end_s
        return (
            f"lag from the angle minus lag from the gyroscopes {1e3 * self.difference_s:+.1f} ms "
            f"({low:+.1f} to {high:+.1f} ms)"
        )


def gyroscope_lag(
    sensors: SensorPair,
    reference: AngleRecording,
    clock: Synchronisation,
    *,
    confidence: float = 0.95,
) -> GyroscopeLag:
    """Find the lag from the gyroscopes of both sensors, and hold the angle's lag against it.

    A hinge turns at ω_distal·j_d − ω_proximal·j_p, j the flexion axis in either sensor: a fixed
    combination of six channels, whatever the mounting. So the reference's rate of change b' is
    regressed on those channels, a constant, and b'' and t·b'', which take up what is missing of the
    lag and of the drift: b'(t') = c + w·ω(t) + η b''(t') + ε (t' − t'_0) b''(t'). No orientation,
    calibration or filter of a procedure enters, so a delay of the procedure that computed the angle
    shows as a difference between the two lags. Residuals are whitened and errors are clustered over
    two strides as in :func:`twinangle.synchronise.clockfit.fit_line`. Gyroscopes whose samples are
    means over the interval before them are read half an interval earlier.

    Parameters
    ----------
    sensors : SensorPair
        The raw signals the angle came from.
    reference : AngleRecording
        On its own clock.
    clock : Synchronisation
        The lag found from the angle: the search starts from it and stays within 0.25 s.
    confidence : float
        Of the interval of the difference, between 0 and 1.

    Raises
    ------
    SynchronisationError
        If the overlap is too short, or the gyroscopes do not explain the reference's rate
        (multiple correlation below 0.7), as when they sit on another joint.
    ValueError
        If `confidence` is not between 0 and 1.

    Notes
    -----
    Own method; tests/synchronise/test_gyroscope_lag.py holds it against simulated sensors whose
    clock is known and against a published recording.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"`confidence` must lie between 0 and 1, got {confidence!r}.")
    scene = _scene(sensors, reference)
    line = _starting_line(clock, scene)
    for _ in range(_ITERATIONS):
        fit = _fit(scene, line)
        line = replace(
            line, lag_s=line.lag_s + fit.correction[0], drift=line.drift + fit.correction[1]
        )
        if abs(line.lag_s - _lag_at(clock, line.centre_s)) > _REACH_S:
            raise SynchronisationError(
                f"{scene.source} and {reference.source}: the gyroscopes fit no lag within "
                f"{_REACH_S:g} s of the angle's."
            )
        if abs(fit.correction[0]) < _CONVERGED_S:
            break
    if not fit.correlation >= _LEAST_CORRELATION:
        raise SynchronisationError(
            f"{scene.source} and {reference.source}: the gyroscopes explain little of the "
            f"reference's rate of change (multiple correlation {fit.correlation:.2f}, "
            f"{_LEAST_CORRELATION:g} is needed). Check that both sit about the same joint."
        )
    return _against(clock, line, fit, confidence)


def by_gyroscopes(clock: Synchronisation, found: GyroscopeLag) -> Synchronisation:
    """Return the clock with the gyroscopes' lag and drift in place of the angle's.

    A delay of the procedure that computed the angle then stays in the comparison instead of being
    taken for a lag of the clocks.
    """
    centre, slope = found.centre_s, found.drift_ppm * 1e-6
    return replace(
        clock,
        method=f"{clock.method}, gyroscopes",
        lag_s=found.lag_s - slope * centre,
        lag_se_s=float(np.hypot(found.lag_se_s, found.drift_se_ppm * 1e-6 * centre)),
        lag_systematic_s=found.lag_systematic_s,
        drift_ppm=found.drift_ppm,
        drift_se_ppm=found.drift_se_ppm,
        drift_df=found.drift_df,
        centre_s=centre,
        centre_lag_se_s=found.lag_se_s,
        centre_lag_df=found.lag_df,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Scene:
    """Six gyroscope channels and the reference's rate, band-limited, and the stride time."""

    channels: tuple[BandLimited, ...]
    rate: BandLimited  # of change of the reference, degrees a second
    work_hz: float
    stride_s: float
    source: str


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    correction: Array  # lag (s) and drift (fraction)
    covariance: Array
    freedom: Array
    systematic_s: float
    correlation: float


def _scene(sensors: SensorPair, reference: AngleRecording) -> _Scene:
    pair = (sensors.proximal, sensors.distal)
    work = min(WORK_RATE_HZ, reference.rate_hz, *(sensor.rate_hz for sensor in pair))
    cutoff = CUTOFF_HZ * work / WORK_RATE_HZ
    channels = [channel for sensor in pair for channel in _channels(sensor, cutoff)]
    b = band_limit(reference, cutoff, slowest_hz=NATIVE_RATE_HZ)
    time = b.start_s + np.arange(b.values.size) / b.rate_hz
    angle, rate = b.at(time)
    stride = period(angle, b.rate_hz)
    rates = BandLimited(rate, b.start_s, b.rate_hz, b.source)
    return _Scene(tuple(channels), rates, work, stride, pair[1].source)


def _channels(sensor: InertialRecording, cutoff_hz: float) -> list[BandLimited]:
    early = 0.5 / sensor.rate_hz if sensor.gyroscope_sample == "interval-mean" else 0.0
    return [
        band_limit(
            AngleRecording(column, sensor.start_s - early, sensor.rate_hz, sensor.source),
            cutoff_hz,
            slowest_hz=NATIVE_RATE_HZ,
        )
        for column in np.degrees(sensor.gyroscope).T
    ]


def _lag_at(clock: Synchronisation, reference_s: float) -> float:
    return clock.lag_s + clock.drift_ppm * 1e-6 * reference_s


def _starting_line(clock: Synchronisation, scene: _Scene) -> ClockLine:
    centre = clock.centre_s
    if not np.isfinite(centre):
        rate, channel = scene.rate, scene.channels[0]
        start = max(rate.start_s, channel.start_s - clock.lag_s)
        centre = 0.5 * (start + min(rate.end_s, channel.end_s - clock.lag_s))
    return ClockLine(float(centre), _lag_at(clock, centre), clock.drift_ppm * 1e-6)


def _fit(scene: _Scene, line: ClockLine) -> _Fit:
    time = overlap_times(scene.channels[0], scene.rate, line, scene.work_hz)
    middle = line.centre_s + line.lag_s
    time = time[np.abs(time - middle) <= _LONGEST_S / 2]
    at = line.to_reference(time)
    rate, change = scene.rate.at(at)
    elapsed = at - line.centre_s
    gyroscopes = [channel.at(time)[0] for channel in scene.channels]
    rows = np.column_stack([np.ones(time.size), *gyroscopes, change, elapsed * change, rate])
    known = np.asarray(np.isfinite(rows).all(axis=1))
    if known.sum() < 10 * rows.shape[1]:
        raise SynchronisationError(
            f"{scene.source} and {scene.rate.source}: the overlap holds {int(known.sum())} usable "
            f"samples of the gyroscopes at {scene.work_hz:g} Hz, {10 * rows.shape[1]} are needed."
        )
    rows[~known] = np.nan
    plain = solve_normal(*_normal(rows[known]))
    residual = rows[:, -1] - rows[:, :-1] @ plain
    white = whiten(rows, autoregression(residual))
    kept = np.isfinite(white).all(axis=1)
    block = 2 * scene.stride_s if np.isfinite(scene.stride_s) else 2.0
    outer, moment = cluster_sums(white[kept, :-1], white[kept, -1], time[kept], block)
    unexplained = float(np.var(residual[known]) / np.var(rate[known]))
    solution = solve_normal(outer.sum(axis=0), moment.sum(axis=0))
    contrasts = np.eye(rows.shape[1] - 1)[-2:]
    covariance, freedom = clustered_errors(outer, moment, contrasts)
    return _Fit(
        solution[-2:],
        covariance,
        freedom,
        _systematic(scene, rows, known),
        float(np.sqrt(max(1 - unexplained, 0.0))),
    )


def _normal(rows: Array) -> tuple[Array, Array]:
    product = rows.T @ rows
    return product[:-1, :-1], product[:-1, -1]


def _systematic(scene: _Scene, rows: Array, known: NDArray[np.bool_]) -> float:
    """Return what a difference that repeats every stride may do to the lag; NaN without strides."""
    stride = scene.stride_s * scene.work_hz
    columns = phase_columns(find_strides(rows[:, -1], stride), rows.shape[0], 7)
    known = known & (columns != 0).any(axis=1)
    if not np.isfinite(stride) or known.sum() < 2 * stride:
        return float("nan")
    # Lag and drift are left out of the fit: what they would take up is what is asked for.
    plain = np.column_stack([rows[known, :-3], rows[known, -1]])
    residual = plain[:, -1] - plain[:, :-1] @ solve_normal(*_normal(plain))
    slope = float(np.sqrt(np.mean(rows[known, -3] ** 2)))
    return repeating_part(residual, columns[known]) / (slope * float(np.sqrt(3)))


def _or_nought(value: float) -> float:
    return value if np.isfinite(value) else 0.0


def _against(clock: Synchronisation, line: ClockLine, fit: _Fit, confidence: float) -> GyroscopeLag:
    difference = float(_lag_at(clock, line.centre_s) - line.lag_s)
    error = float(np.sqrt(fit.covariance[0, 0]))
    quantile = float(t.ppf((1 + confidence) / 2, fit.freedom[0]))
    own = quantile * float(np.hypot(error, _or_nought(fit.systematic_s)))
    angle = lag_interval(clock, confidence=confidence)
    half = float(np.hypot(own, 0.0 if angle is None else (angle.end_s - angle.start_s) / 2))
    return GyroscopeLag(
        centre_s=line.centre_s,
        lag_s=float(line.lag_s),
        lag_se_s=error,
        lag_df=float(fit.freedom[0]),
        lag_systematic_s=fit.systematic_s,
        drift_ppm=float(line.drift) * 1e6,
        drift_se_ppm=float(np.sqrt(fit.covariance[1, 1])) * 1e6,
        drift_df=float(fit.freedom[1]),
        correlation=fit.correlation,
        difference_s=difference,
        interval=Interval(difference - half, difference + half),
        disagree=bool(abs(difference) > max(half, _WORTH_S)),
    )
