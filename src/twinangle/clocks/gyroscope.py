"""The lag once more, from the wearable's gyroscopes instead of its angle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.checks import require_fraction
from twinangle.clocks.band import BandLimited, band_limit_columns, thinned
from twinangle.clocks.clock_intervals import lag_interval, total_error
from twinangle.clocks.clockfit import (
    ClockLine,
    autoregression,
    cluster_sums,
    overlap_times,
    repeating_part,
    solve_normal,
    whiten,
)
from twinangle.clocks.clustered import clustered_errors
from twinangle.clocks.search import CUTOFF_HZ, NATIVE_RATE_HZ, WORK_RATE_HZ, period
from twinangle.clocks.strides import find_strides, phase_columns
from twinangle.declare import Aside, measured, number
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    InertialRecording,
    SensorPair,
    Synchronisation,
)
from twinangle.thresholds import told_apart

_ITERATIONS = 4
_CONVERGED_S = 1e-6
_REACH_S = 0.25  # farther from the angle's lag the gyroscopes see another movement
_LONGEST_S = 1200.0  # of a long recording, the stretch that counts
_MARGIN_S = 5.0  # beside it, for the filters to settle
_LEAST_CORRELATION = 0.7
_WORTH_S = 0.002  # a smaller disagreement moves the RMS by less than 0.4°


@dataclass(frozen=True, slots=True)
class GyroscopeLag:
    """The lag the gyroscopes give, and how it differs from the one it is held against.

    The difference is positive where the procedure that computed the angle delays it. Where the lag
    was stated and not found from the angle, it is that of the clock or of one of the instruments.
    """

    centre_s: Annotated[float, measured("s", "time of the lag on the reference's clock")]
    lag_s: Annotated[float, measured("s", "lag by the gyroscopes")]
    lag_se_s: Annotated[float, measured("s", "its total standard error")]
    lag_statistical_s: Annotated[float, measured("s", "statistical part of that error")]
    lag_systematic_s: Annotated[float, measured("s", "systematic part of that error")]
    correlation: Annotated[
        float, number("multiple correlation of the reference's rate with the gyroscopes")
    ]
    difference_s: Annotated[float, measured("s", "the other lag minus that of the gyroscopes")]
    difference_ci_s: Annotated[
        tuple[float, float],
        measured("s", "its interval, parts of both lags' errors added in quadrature"),
    ]
    disagree: Annotated[
        bool, number("whether that interval leaves out 0 and the difference is 2 ms or more")
    ]
    lag_df: Annotated[float, Aside(float("nan"))] = float("nan")  # of a lag that is taken over

    def summary(self, held: str = "lag from the angle") -> str:
        """Return one sentence for a report; `held`: what is held against the gyroscopes' lag."""
        low, high = (1e3 * end for end in self.difference_ci_s)
        return (
            f"{held} minus lag from the gyroscopes {1e3 * self.difference_s:+.1f} ms "
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
    two strides as in :func:`twinangle.clocks.clockfit.fit_line`. Gyroscopes whose samples are
    means over the interval before them are read half an interval earlier. Of a recording above
    20 minutes, the 20 minutes count in which the reference moves most.

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

    Returns
    -------
    GyroscopeLag

    Raises
    ------
    SynchronisationError
        If the overlap is too short, or the gyroscopes do not explain the reference's rate
        (multiple correlation below 0.7), as when they sit on another joint.
    ValueError
        If `confidence` is not between 0 and 1.

    Notes
    -----
    Own method; tests/clocks/test_gyroscope_lag.py holds it against simulated sensors whose
    clock is known and against a published recording.
    """
    require_fraction(confidence, "confidence")
    found = lag_without_interval(sensors, reference, clock)
    return held_against(clock, found, confidence=confidence)


def lag_without_interval(
    sensors: SensorPair, reference: AngleRecording, clock: Synchronisation
) -> GyroscopeLag:
    """Return what :func:`gyroscope_lag` does, the interval of the difference left open (NaN).

    Parameters
    ----------
    sensors, reference, clock
        As there.

    Returns
    -------
    GyroscopeLag
        :func:`held_against` gives it its interval.

    Raises
    ------
    SynchronisationError
        As there.
    """
    scene, line = _scene(sensors, reference, clock)
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
        reached, least = told_apart(fit.correlation, _LEAST_CORRELATION, 2)
        raise SynchronisationError(
            f"{scene.source} and {reference.source}: the gyroscopes explain little of the "
            f"reference's rate of change (multiple correlation {reached}, "
            f"{least} is needed). Check that both sit about the same joint."
        )
    return _lag_found(clock, line, fit)


def held_against(clock: Synchronisation, found: GyroscopeLag, *, confidence: float) -> GyroscopeLag:
    """Return the gyroscopes' lag with the interval of its difference from that of a clock.

    Parameters
    ----------
    clock : Synchronisation
        The one whose lag the search began from.
    found : GyroscopeLag
        What :func:`lag_without_interval` returned.
    confidence : float
        Of the interval, between 0 and 1.

    Returns
    -------
    GyroscopeLag
    """
    own = float(scipy.stats.t.ppf((1 + confidence) / 2, found.lag_df)) * found.lag_se_s
    angle = lag_interval(clock, confidence=confidence)
    half = float(np.hypot(own, 0.0 if angle is None else (angle.end_s - angle.start_s) / 2))
    return replace(
        found,
        difference_ci_s=(found.difference_s - half, found.difference_s + half),
        disagree=bool(abs(found.difference_s) > max(half, _WORTH_S)),
    )


def by_gyroscopes(clock: Synchronisation, found: GyroscopeLag) -> Synchronisation:
    """Return the clock with the gyroscopes' lag in place of the angle's.

    A delay of the procedure that computed the angle then stays in the comparison instead of being
    taken for a lag of the clocks. A delay is the same at all times, so the drift stays the angle's.

    Parameters
    ----------
    clock : Synchronisation
        With the angle's lag.
    found : GyroscopeLag
        Of the same recordings.

    Returns
    -------
    Synchronisation
    """
    from_zero_s = clock.drift_se_ppm * 1e-6 * found.centre_s
    return replace(
        clock,
        method=f"{clock.method}, gyroscopes",
        lag_s=clock.lag_s - found.difference_s,
        lag_se_s=float(np.hypot(found.lag_se_s, _or_nought(from_zero_s))),
        lag_statistical_s=found.lag_statistical_s,
        lag_systematic_s=found.lag_systematic_s,
        centre_s=found.centre_s,
        centre_lag_se_s=found.lag_se_s,
        centre_lag_df=found.lag_df,
        window_lag_s=clock.window_lag_s - found.difference_s,
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


def _scene(
    sensors: SensorPair, reference: AngleRecording, clock: Synchronisation
) -> tuple[_Scene, ClockLine]:
    """Return the signals over the stretch that counts, and the clock's line about its middle."""
    pair = (sensors.proximal, sensors.distal)
    work = min(WORK_RATE_HZ, reference.rate_hz, *(sensor.rate_hz for sensor in pair))
    cutoff = CUTOFF_HZ * work / WORK_RATE_HZ
    b = thinned(reference, cutoff, NATIVE_RATE_HZ)
    ends = clock.to_reference(np.array([pair[1].time_s[0], pair[1].time_s[-1]]))
    start, end = _busiest(b, max(b.start_s, float(ends[0])), min(b.end_s, float(ends[1])))
    centre = 0.5 * (start + end)
    line = ClockLine(centre, _lag_at(clock, centre), clock.drift_ppm * 1e-6)
    first, last = clock.to_wearable(np.array([start - _MARGIN_S, end + _MARGIN_S]))
    channels = [channel for sensor in pair for channel in _channels(sensor, cutoff, first, last)]
    time = np.arange(b.values.size) / b.rate_hz + b.start_s
    time = time[(time >= start) & (time <= end)]
    angle, rate = b.at(time)
    rates = BandLimited(rate, float(time[0]) if time.size else start, b.rate_hz, b.source)
    stride = period(angle, b.rate_hz)
    return _Scene(tuple(channels), rates, work, stride, pair[1].source), line


def _busiest(b: BandLimited, start_s: float, end_s: float) -> tuple[float, float]:
    """Return the stretch of 20 minutes in which the angle moves most, or the whole of a shorter."""
    if end_s - start_s <= _LONGEST_S:
        return start_s, end_s
    angle = b.samples(start_s, end_s)
    total = np.concatenate([[0.0], np.cumsum(np.nan_to_num(np.abs(np.diff(angle))))])
    size = int(_LONGEST_S * b.rate_hz) - 1
    first = start_s + int(np.argmax(total[size:] - total[:-size])) / b.rate_hz
    return first, first + _LONGEST_S


def _channels(
    sensor: InertialRecording, cutoff_hz: float, first_s: float, last_s: float
) -> list[BandLimited]:
    """Return the three channels between two times, band-limited, in degrees a second."""
    early = 0.5 / sensor.rate_hz if sensor.gyroscope_sample == "interval-mean" else 0.0
    low = max(int((first_s - sensor.start_s) * sensor.rate_hz), 0)
    high = max(int((last_s - sensor.start_s) * sensor.rate_hz) + 1, low)
    start = sensor.start_s + low / sensor.rate_hz - early
    rates = np.degrees(sensor.gyroscope[low:high])
    of = (start, sensor.rate_hz, sensor.source)
    return band_limit_columns(rates, *of, cutoff_hz=cutoff_hz, slowest_hz=NATIVE_RATE_HZ)


def _lag_at(clock: Synchronisation, reference_s: float) -> float:
    return float(clock.lag_s + clock.drift_ppm * 1e-6 * reference_s)


def _fit(scene: _Scene, line: ClockLine) -> _Fit:
    time = overlap_times(scene.channels[0], scene.rate, line, scene.work_hz)
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


def _lag_found(clock: Synchronisation, line: ClockLine, fit: _Fit) -> GyroscopeLag:
    difference = _lag_at(clock, line.centre_s) - float(line.lag_s)
    statistical = float(np.sqrt(fit.covariance[0, 0]))
    error, freedom = total_error(statistical, float(fit.freedom[0]), fit.systematic_s)
    return GyroscopeLag(
        centre_s=line.centre_s,
        lag_s=float(line.lag_s),
        lag_se_s=error,
        lag_df=freedom,
        lag_statistical_s=statistical,
        lag_systematic_s=fit.systematic_s,
        correlation=fit.correlation,
        difference_s=difference,
        difference_ci_s=(float("nan"), float("nan")),
        disagree=False,
    )
