"""One unbroken stretch of a sensor's signals to attitudes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from twinangle.wearable.kalman.magnetometer_offset import estimate_offset, remove_offset
from twinangle.wearable.kalman.parameters import Constants, KalmanParameters, constants
from twinangle.wearable.kalman.passes import (
    estimate_lag,
    field_about,
    filter_blocks,
    filter_forward,
    mean_square_velocity,
    rest_blocks,
    smooth_blocks,
)
from twinangle.wearable.kalman.preintegration import (
    MEAN_A,
    MEAN_G,
    MEAN_M,
    NORM_M,
    SHARE_M,
    integrate_blocks,
    place_blocks,
)
from twinangle.wearable.kalman.states import (
    STATE,
    TRACE,
    TRACE_LEVELLED,
    TRACE_MAGNET,
    TRACE_UP,
    N,
)

Array = NDArray[np.float64]


class Stretch:
    """Signals without a gap, cut into blocks.

    Parameters
    ----------
    gyroscope, accelerometer, magnetometer : (n, 3) arrays
        rad/s, m/s², any unit; the magnetometer may hold NaN, and is (0, 3) when there is none.
    rate_hz : float
    trapezoid : bool
        Whether a gyroscope sample is the rate at its instant.
    """

    def __init__(
        self,
        gyroscope: Array,
        accelerometer: Array,
        magnetometer: Array,
        rate_hz: float,
        *,
        trapezoid: bool,
        parameters: KalmanParameters,
    ) -> None:
        self.signals = (_signal(gyroscope), _signal(accelerometer), _signal(magnetometer))
        self.rate_hz = rate_hz
        self.trapezoid = trapezoid
        self.parameters = parameters
        self.constants: Constants = constants(parameters)
        self.magnetic = bool(np.isfinite(magnetometer).any())
        block = max(round(parameters.block_s * rate_hz), 1)
        last = gyroscope.shape[0] - 1
        # the last block takes the remainder, so that none is shorter than half a block
        count = max(round(last / block), 1)
        self.nodes = np.append(np.arange(count, dtype=np.int64) * block, last)

    def integrate(self, nodes: NDArray[np.int64], bias: Array, relative: Array) -> Array:
        """Reduce the blocks between `nodes` to rows, with `bias` taken off the gyroscope."""
        rows: Array = integrate_blocks(
            *self.signals, nodes, 1 / self.rate_hz, self.trapezoid, bias, relative
        )
        return rows

    def head(self, seconds: float) -> Stretch:
        """Return the first `seconds` as a stretch of their own."""
        count = round(seconds * self.rate_hz) + 1
        gyroscope, accelerometer, magnetometer = (signal[:count] for signal in self.signals)
        return Stretch(
            gyroscope,
            accelerometer,
            magnetometer,
            self.rate_hz,
            trapezoid=self.trapezoid,
            parameters=self.parameters,
        )


def _signal(values: Array) -> Array:
    """Return a contiguous read-only view: one kind of array, so that all is compiled once."""
    view = np.ascontiguousarray(values, dtype=np.float64).view()
    view.setflags(write=False)
    return view


@dataclass(frozen=True, slots=True)
class Start:
    """What a filter begins with."""

    state: Array  # (10,)
    covariance: Array  # (9, 9)
    field: Array  # norm, upward part, seconds behind them
    resting: bool


def _start(stretch: Stretch) -> Start:
    """Find a first state.

    At rest the first block tells; otherwise the first `start_window_s`, over which the mean
    specific force, carried to the first sample's frame, is gravity's.
    """
    p = stretch.parameters
    first = stretch.nodes[:2]
    row = stretch.integrate(first, np.zeros(3), np.empty((first[1] + 1, 4)))
    resting = bool(rest_blocks(row, stretch.constants)[0])
    if not resting:
        span = min(round(p.start_window_s * stretch.rate_hz), int(stretch.nodes[-1]))
        window = np.array([0, span], dtype=np.int64)
        row = stretch.integrate(window, np.zeros(3), np.empty((span + 1, 4)))
    return _start_from(row[0], resting, stretch.magnetic, p)


def _start_from(row: Array, resting: bool, magnetic_later: bool, p: KalmanParameters) -> Start:
    deg = np.pi / 180
    up = row[MEAN_A : MEAN_A + 3] / np.linalg.norm(row[MEAN_A : MEAN_A + 3])
    state = np.zeros(STATE)
    reference = np.array([0.0, np.nan, 0.0])
    magnetic = row[SHARE_M] > 0
    field = row[MEAN_M : MEAN_M + 3] if magnetic else np.zeros(3)
    if magnetic:
        reference[:] = row[NORM_M], field @ up, row[SHARE_M] * p.block_s
    east = np.cross(field, up)
    if np.linalg.norm(east) < 0.05 * np.linalg.norm(field) or not magnetic:
        # no magnetic heading: the axis most level becomes east
        east = np.cross(np.cross(up, np.eye(3)[np.argmin(np.abs(up))]), up)
    east /= np.linalg.norm(east)
    state[:4] = _quaternion(np.stack([east, np.cross(up, east), up]))
    if resting:
        state[4:7] = row[MEAN_G : MEAN_G + 3]
    variance = np.zeros(N)
    variance[:3] = (p.start_tilt_deg * deg) ** 2
    # without a reading yet any heading is as likely; without a magnetometer it is fixed
    variance[2] = 1.0 if magnetic else np.pi**2 / 3 if magnetic_later else 0.0
    variance[3:6] = (p.start_bias_deg_s * deg) ** 2
    variance[6:8] = (p.rest_velocity if resting else p.start_velocity) ** 2
    return Start(state, np.diag(variance), reference, resting)


def _quaternion(matrix: Array) -> Array:
    """Convert a rotation matrix to a quaternion, scalar first (Shepperd 1978)."""
    m = matrix
    t = np.array([m[0, 0] + m[1, 1] + m[2, 2], m[0, 0], m[1, 1], m[2, 2]])
    i = int(np.argmax(t))
    if i == 0:
        q = np.array([1 + t[0], m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]])
    else:
        a, b, c = i - 1, i % 3, (i + 1) % 3
        q = np.empty(4)
        q[0] = m[c, b] - m[b, c]
        q[1 + a] = 1 + m[a, a] - m[b, b] - m[c, c]
        q[1 + b] = m[a, b] + m[b, a]
        q[1 + c] = m[a, c] + m[c, a]
    return np.asarray(q / np.linalg.norm(q))


def forward(stretch: Stretch, out: Array) -> Array:
    """Write the attitudes of the filter run in the order of time into `out`, (n, 4).

    Returns the times, in seconds from the stretch's first sample, at which the attitude was
    levelled again because its vertical contradicted the mean specific force.
    """
    start = _start(stretch)
    state = start.state
    if not start.resting:
        # a start in motion is found by smoothing its first seconds
        head = stretch.head(stretch.parameters.start_window_s)
        state = _smooth(head, start, np.empty((head.nodes[-1] + 1, 4)))[0][0]
        state[9] = 0.0
    starts, ends, levelled = filter_forward(
        *stretch.signals,
        stretch.nodes,
        1 / stretch.rate_hz,
        stretch.trapezoid,
        state,
        start.covariance,
        start.field,
        stretch.constants,
        out,
    )
    place_blocks(stretch.nodes, starts, ends, out)
    return np.asarray(stretch.nodes[1:][levelled] / stretch.rate_hz)


def smoothed(stretch: Stretch, out: Array) -> Array:
    """Write the attitudes of filter and smoother into `out`, (n, 4); return as `forward` does."""
    states, levelled = _smooth(stretch, _start(stretch), out)
    attitude = np.ascontiguousarray(states[:, :4])
    place_blocks(stretch.nodes, attitude[:-1], attitude[1:], out)
    return np.asarray(stretch.nodes[1:][levelled] / stretch.rate_hz)


def _smooth(stretch: Stretch, start: Start, relative: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return the smoothed states at the nodes, and the blocks whose end was levelled again.

    `relative` receives the block-relative rotations.
    """
    c, p = stretch.constants, stretch.parameters
    state = start.state.copy()
    bias = state[4:7].copy()
    rows = stretch.integrate(stretch.nodes, bias, relative)
    rest = rest_blocks(rows, c)
    field = _Field(rows, p, c)
    v2, about = np.zeros(0), np.zeros((0, 2))
    states, traces = np.zeros((0, STATE)), np.zeros((0, TRACE))
    for left in range(p.passes - 1, -1, -1):
        states, P, traces = filter_blocks(
            rows, rest, state, start.covariance, v2, about, field.reference, field.lag, c
        )
        smooth_blocks(states, P, traces)
        if left == 0:
            break
        v2 = mean_square_velocity(rows, traces, c)
        about = field_about(rows, traces, rest, field.reference, c)
        field.learn(rows, traces, states, about)
        state = states[0].copy()
        state[9] = 0.0  # the disturbance starts from its own spread, not from the last pass
        drifted = states[:, 4:7].mean(axis=0)
        if np.linalg.norm(drifted - bias) > np.radians(p.bias_again_deg_s):
            bias = drifted
            rows = stretch.integrate(stretch.nodes, bias, relative)
            remove_offset(rows, field.offset)
    return states, traces[:, TRACE_LEVELLED] == 1.0


class _Field:
    """What the passes of the smoother learn of the magnetic field and of its sensor."""

    def __init__(self, rows: Array, parameters: KalmanParameters, c: Constants) -> None:
        self.parameters = parameters
        self.constants = c
        self.magnetic = rows[:, SHARE_M] >= 0.5
        self.reference = np.array([0.0, np.nan, 0.0])  # norm, upward part, usual deviation
        self.lag, self.offset = 0.0, np.zeros(3)
        if self.magnetic.any():
            self.reference[0] = np.median(rows[self.magnetic, NORM_M])
            self.lag = estimate_lag(rows, self.reference[0], c)

    def learn(self, rows: Array, traces: Array, states: Array, about: Array) -> None:
        """Learn from a pass: the reference, and the offset, which is taken off `rows`."""
        if not self.magnetic.any():
            return
        p = self.parameters
        magnetic = self.magnetic & (traces[:, TRACE_MAGNET] == 0)
        if not magnetic.any():
            magnetic = self.magnetic
        deviation, innovation = about[magnetic, 0], 1 - about[magnetic, 1]
        self.reference[0] = np.median(rows[magnetic, NORM_M])
        self.reference[1] = np.median(traces[magnetic, TRACE_UP])
        # where a jump of the heading was found a block counts as one of plain motion
        plain = 1 - np.exp(-p.block_s / p.disturbance_moving_s)
        usual = (p.field_noise * self.reference[0]) ** 2 + self.reference[2]
        level = self.reference[0] ** 2 - self.reference[1] ** 2
        jumped = states[1:, 9][magnetic] ** 2 * level > p.gate_sd**2 * usual
        counted = np.where(jumped, np.minimum(innovation, plain), innovation)
        low = _quantile(deviation, counted, p.usual_share)
        self.reference[2] = self.constants.usual_factor * low
        usual = (p.field_noise * self.reference[0]) ** 2 + self.reference[2]
        weight = np.zeros(magnetic.size)
        weight[magnetic] = innovation / (usual * (1 + (deviation / (p.rejection * usual)) ** 4))
        found = estimate_offset(
            rows,
            states[:-1, :4],
            weight,
            self.lag,
            self.offset,
            p.magnetometer_offset * self.reference[0],
        )
        remove_offset(rows, found)
        self.offset += found


def _quantile(values: Array, weight: Array, share: float) -> float:
    """Return the smallest value below or at which lies `share` of the weight."""
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(total, share * total[-1])])
