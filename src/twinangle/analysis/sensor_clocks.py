"""Whether two sensors that wrote a file each are on one clock, as far as their motion tells."""

from __future__ import annotations

import numpy as np

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, InertialRecording, SensorPair
from twinangle.thresholds import told_apart
from twinangle.wearable.heading.hinge import hinge_axes

# Common practice, no source.
ACTIVITY_S = 0.5
MOST_APART_S = 60.0
FEWEST_STRETCHES = 20
HINGE_STEP_S = 0.1
NEAR_STEPS = 12
REACH_S = 0.3  # about the files as they stand: nearer than any other stride
BETTER, FAR_BETTER = 0.9, 0.8  # of the residual as the files stand: what a lag must reach
BRANCH_S = 0.6  # either side of the best lag: what the parabola is fitted to
APART_S = 0.05
"""Distance that is warned of: on 200 simulated walks with skin motion of up to 3° and rotation out
of the plane of up to 8° the files' own lag is found to 9 ms (SD), at worst to 29 ms (50 Hz)."""
HINGE_RAD_S = 0.02  # a residual that small is as good as it gets


def clock_warnings(pair: SensorPair) -> tuple[str, ...]:
    """Warn where two sensors' files seem to lie apart in time, by how they move.

    Across a hinge the parts of the two angular rates square to the axis are equally long [1]_. The
    axis is fitted at lags of up to 1.2 s, in steps of 0.1 s, about the files as they stand and
    about the lag at which both sensors rest and move together. A knee is no hinge, so the smallest
    of these residuals may lie a step beside the true lag; but with distance the residual grows
    alike to both sides. The lag is therefore the vertex of the parabola through the squared
    residuals of up to 0.6 s either side of the smallest. A warning is given where it is more than
    0.05 s and the smallest residual within 0.1 s of it is at most 0.9 times that of the files as
    they stand (0.8 beyond 0.3 s, where another stride may fit as well). Both are needed: on
    recorded walks the parabola alone is off by up to 0.2 s, on simulated ones the residual alone by
    0.1 s. How often it comes on walks with and without a shift: `benchmarks/sensor_clocks.py`.

    Where the sensors hardly turn, so that no axis can be fitted, nothing is said.

    Parameters
    ----------
    pair : SensorPair
        Two sensors from two files, as merged.

    Returns
    -------
    tuple of str
        One warning, or none where nothing speaks against one clock.

    Notes
    -----
    When a sensor rests and moves is its activity, the RMS of its angular rate over half seconds.
    The two activities are correlated at every lag of up to a minute, each over what both cover and
    with its own means. (Common practice, no source.)

    References
    ----------
    .. [1] Seel, Schauer & Raisch (2012), IEEE Int Conf Control Applications, 45-49; Seel, Raisch
       & Schauer (2014), Sensors 14:6891.
    """
    step = max(1, round(HINGE_STEP_S * pair.proximal.rate_hz))
    near = np.arange(-NEAR_STEPS, NEAR_STEPS + 1) * step
    middle = round(_activity_lag_s(pair) * pair.proximal.rate_hz)
    lags = np.union1d(near, near + middle) if abs(middle) > NEAR_STEPS * step else near
    try:
        residual = np.array([_hinge_residual(pair, int(lag)) for lag in lags])
    except AngleError:
        return ()
    stands = float(residual[lags == 0][0])
    if stands < HINGE_RAD_S:
        return ()
    lag_s = _vertex_s(lags / pair.proximal.rate_hz, residual, stands)
    if abs(lag_s) <= APART_S:
        return ()
    beside = np.abs(lags / pair.proximal.rate_hz - lag_s) <= HINGE_STEP_S
    there = float(residual[beside].min())
    if there > (BETTER if abs(lag_s) <= REACH_S else FAR_BETTER) * stands:
        return ()
    # Its sign is printed too, and the limit is one of its size.
    moved, limit = told_apart(abs(lag_s), APART_S, 2)
    text = (
        f"{pair.distal.source}: the angular rates fit a hinge best where the distal sensor's times "
        f"are moved by {'+' if lag_s > 0 else '-'}{moved} s (more than {limit} s; residual "
        f"{there:.3g} rad/s, as the files stand {stands:.3g}); are both files on one clock? See "
        "`distal_lag_s` in docs/reference/study-file.md."
    )
    return (Notice(text, "sensor-clocks-apart", "grave", abs(lag_s)),)


def _vertex_s(lags_s: Array, residual: Array, stands: float) -> float:
    """Return the lag about which the residual grows alike to both sides."""
    best = int(np.argmin(residual))
    if residual[best] > FAR_BETTER * stands:
        best = int(np.argmin(np.where(np.abs(lags_s) <= REACH_S + 1e-9, residual, np.inf)))
    beside = np.abs(lags_s - lags_s[best]) <= BRANCH_S + 1e-9
    if beside.sum() < 5:
        return float(lags_s[best])
    away = lags_s[beside] - lags_s[best]
    square, slope, _ = np.polyfit(away, residual[beside] ** 2, 2)
    if square <= 0:
        return float(lags_s[best])
    return float(lags_s[best] + np.clip(-slope / (2 * square), -HINGE_STEP_S, HINGE_STEP_S))


def _activity_lag_s(pair: SensorPair) -> float:
    """Return the lag at which both sensors rest and move together best; 0 where none is told."""
    proximal, distal = _activity(pair.proximal), _activity(pair.distal)
    most = min(round(MOST_APART_S / ACTIVITY_S), proximal.size // 3)
    lags = np.arange(-most, most + 1)
    agreement = np.array([_correlation(proximal, distal, int(lag)) for lag in lags])
    if not np.isfinite(agreement).any():
        return 0.0
    return float(lags[int(np.nanargmax(agreement))] * ACTIVITY_S)


def _hinge_residual(pair: SensorPair, lag: int) -> float:
    """Return the hinge's residual (RMS over all samples), the distal sensor later by `lag`."""
    n_samples = pair.proximal.n_samples
    proximal = pair.proximal.gyroscope[max(lag, 0) : n_samples + min(lag, 0)]
    distal = pair.distal.gyroscope[max(-lag, 0) : n_samples + min(-lag, 0)]
    axes = hinge_axes(proximal, distal)
    square = [
        np.linalg.norm(np.cross(rates, axis), axis=1)
        for rates, axis in ((proximal, axes.proximal), (distal, axes.distal))
    ]
    return float(np.sqrt(np.nanmean((square[0] - square[1]) ** 2)))


def _activity(sensor: InertialRecording) -> Array:
    """Return the RMS angular rate of each half second; NaN where any of it is missing."""
    size = max(1, round(ACTIVITY_S * sensor.rate_hz))
    n_whole = sensor.n_samples // size
    power = (sensor.gyroscope[: n_whole * size] ** 2).sum(axis=1)
    return np.asarray(np.sqrt(power.reshape(n_whole, size).mean(axis=1)))


def _correlation(proximal: Array, distal: Array, lag: int) -> float:
    """Return the correlation with the distal activity moved later by `lag`; NaN if undefined."""
    first = proximal[max(lag, 0) : proximal.size + min(lag, 0)]
    second = distal[max(-lag, 0) : distal.size + min(-lag, 0)]
    both = np.isfinite(first) & np.isfinite(second)
    if both.sum() < FEWEST_STRETCHES or np.ptp(first[both]) == 0 or np.ptp(second[both]) == 0:
        return float("nan")
    return float(np.corrcoef(first[both], second[both])[0, 1])
