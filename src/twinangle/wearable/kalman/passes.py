"""Whole passes over the blocks: forward in time, filter and smoother."""

from __future__ import annotations

import numpy as np

from twinangle.kernels import compiled
from twinangle.wearable.kalman.field import (
    field_deviation,
    half_change,
    staying,
)
from twinangle.wearable.kalman.filtering import (
    add_error,
    is_quiet,
    rest_blocks,
    step,
)
from twinangle.wearable.kalman.magnet import FIT
from twinangle.wearable.kalman.preintegration import (
    COLUMNS,
    DURATION,
    MEAN_M,
    MEAN_WM,
    NORM_M,
    SHARE_M,
    SQUARE_M,
    SQUARE_WM,
    integrate_block,
)
from twinangle.wearable.kalman.states import (
    ABOUT,
    ABOUT_CENTRED,
    ABOUT_CHANGE,
    ABOUT_DEVIATION,
    ABOUT_DOUBT,
    ABOUT_SHIFT,
    ABOUT_STAY,
    ABOUT_V2,
    MEASUREMENTS,
    STATE,
    TRACE,
    TRACE_A,
    TRACE_DECAY,
    TRACE_DEVIATION,
    TRACE_F,
    TRACE_GAIN,
    TRACE_HEADING,
    TRACE_LEVELLED,
    TRACE_MAGNET,
    TRACE_SCALED,
    TRACE_SHIFT,
    TRACE_UP,
    TRACE_USED,
    TRACE_V2,
    N,
)

# Step of the running quantile: the inverse of the density of the logarithm of a chi-square with
# four degrees of freedom at its lower quartile.
QUANTILE_GAIN = 2.8
# What the filter in the order of time remembers of the field.
MEMORY_WEIGHT = 0  # seconds behind the reference
MEMORY_MOVED = 1  # blocks, counted by their share of innovation, behind the quartile
MEMORY_TOP = 2  # numerator and denominator of the magnetometer's lag
MEMORY_BOTTOM = 3
MEMORY_QUARTILE = 4  # lower quartile of the field's deviation
MEMORY = 5


@compiled
def lag_sums(row, norm, c):  # type: ignore[no-untyped-def]
    """Return what a block adds to numerator and denominator of the magnetometer's lag.

    A reading late by τ is m + τ ω × m. The field is still in the earth frame when the variance of
    R (m − τ ω × m) within a block is least: τ = −Σ mean(R(ω×m))·mean(R m) over
    Σ (mean |ω×m|² − |mean R(ω×m)|²).
    """
    if row[SHARE_M] < 0.5:
        return 0.0, 0.0
    s2 = (c.field_noise * norm) ** 2
    w = 1 / (1 + max(row[SQUARE_M] - 2 * norm * row[NORM_M] + norm * norm, 0.0) / s2) ** 2
    top = 0.0
    bottom = row[SQUARE_WM]
    for i in range(3):
        top -= row[MEAN_WM + i] * row[MEAN_M + i]
        bottom -= row[MEAN_WM + i] ** 2
    return w * top, w * bottom


@compiled
def estimate_lag(rows, norm, c):  # type: ignore[no-untyped-def]
    """Estimate the magnetometer's lag in seconds from all blocks."""
    top, bottom = 0.0, (c.field_noise * norm / c.lag_prior) ** 2
    for j in range(rows.shape[0]):
        a, b = lag_sums(rows[j], norm, c)
        top += a
        bottom += b
    return top / bottom if bottom > 0 else 0.0


@compiled
def filter_forward(  # type: ignore[no-untyped-def]
    gyroscope, accelerometer, magnetometer, nodes, interval, trapezoid, state, P, start, c, relative
):
    """Run the filter in the order of time; return each block's first and last attitude.

    A third array tells the blocks at whose end the attitude was levelled again.
    `start` holds the field's norm and upward part and the weight behind them. Everything a block
    needs is known at its first sample; its measurements count from the next block on.
    """
    n = nodes.size - 1
    starts, ends, levelled = np.empty((n, 4)), np.empty((n, 4)), np.zeros(n, dtype=np.bool_)
    row, trace, reference = np.empty(COLUMNS), np.empty(TRACE), start[:3].copy()
    memory = np.zeros(MEMORY)
    memory[MEMORY_WEIGHT], memory[MEMORY_MOVED] = start[2], 1.0
    meet_field(reference, memory, c)
    reference[2] = 0.0
    running, was_quiet = begin(P, c), False
    fit = np.zeros(FIT)
    relative[0, 0], relative[0, 1], relative[0, 2], relative[0, 3] = 1.0, 0.0, 0.0, 0.0
    for j in range(n):
        for i in range(4):
            starts[j, i] = state[i]
        integrate_block(
            gyroscope,
            accelerometer,
            magnetometer,
            nodes[j],
            nodes[j + 1],
            interval,
            trapezoid,
            state[4:7],
            relative,
            row,
        )
        last = relative[nodes[j + 1]]
        a, b = state[:4], ends[j]
        b[0] = a[0] * last[0] - a[1] * last[1] - a[2] * last[2] - a[3] * last[3]
        b[1] = a[0] * last[1] + a[1] * last[0] + a[2] * last[3] - a[3] * last[2]
        b[2] = a[0] * last[2] - a[1] * last[3] + a[2] * last[0] + a[3] * last[1]
        b[3] = a[0] * last[3] + a[1] * last[2] - a[2] * last[1] + a[3] * last[0]
        quiet = is_quiet(row, c)
        rest = quiet and was_quiet
        was_quiet = quiet
        seen = row[SHARE_M] >= 0.5
        if seen and reference[0] == 0.0:
            # the first reading of a magnetometer that was silent at the start
            reference[0] = row[NORM_M]
            meet_field(reference, memory, c)
            running[ABOUT_DOUBT] = c.doubt
        bottom = memory[MEMORY_BOTTOM]
        lag = memory[MEMORY_TOP] / bottom if bottom > 0 else 0.0
        running[ABOUT_STAY] = running_stay(running, row, rest, reference, c)
        step(state, P, row, rest, running, reference, lag, fit, c, trace)
        levelled[j] = trace[TRACE_LEVELLED] == 1.0
        run_along(running, row, trace, c)
        if seen and reference[0] > 0 and trace[TRACE_MAGNET] == 0.0:
            learn_field(row, trace, running, reference, memory, c)
    return starts, ends, levelled


@compiled
def meet_field(reference, memory, c):  # type: ignore[no-untyped-def]
    """Begin what is learnt of the field from its norm in `reference`."""
    s2 = (c.field_noise * reference[0]) ** 2
    memory[MEMORY_BOTTOM], memory[MEMORY_QUARTILE] = s2 / c.lag_prior**2, s2


@compiled
def learn_field(row, trace, running, reference, memory, c):  # type: ignore[no-untyped-def]
    """Learn the field's reference and the magnetometer's lag from a block, in place."""
    top, bottom = lag_sums(row, reference[0], c)
    memory[MEMORY_TOP] += top
    memory[MEMORY_BOTTOM] += bottom
    s2 = (c.field_noise * reference[0]) ** 2
    w = row[DURATION] / (1 + field_deviation(row, trace[TRACE_UP], reference) / s2)
    memory[MEMORY_WEIGHT] = min(memory[MEMORY_WEIGHT] + w, c.reference_memory)
    share = w / memory[MEMORY_WEIGHT]
    reference[0] += share * (row[NORM_M] - reference[0])
    if np.isnan(reference[1]):
        reference[1] = trace[TRACE_UP]
    reference[1] += share * (trace[TRACE_UP] - reference[1])
    # a quantile followed by stochastic approximation (Robbins & Monro 1951), in logarithms
    w = min(1 - running[ABOUT_STAY], 1 - np.exp(-row[DURATION] / c.moving))
    memory[MEMORY_MOVED] = min(memory[MEMORY_MOVED] + w, c.reference_memory / row[DURATION])
    below = 1.0 if running[ABOUT_DEVIATION] < memory[MEMORY_QUARTILE] else 0.0
    gain = QUANTILE_GAIN * w / memory[MEMORY_MOVED]
    memory[MEMORY_QUARTILE] *= np.exp(gain * (c.usual_share - below))
    reference[2] = c.usual_factor * memory[MEMORY_QUARTILE]


@compiled
def filter_blocks(rows, rest, start, P0, v2, field, reference, lag, c):  # type: ignore[no-untyped-def]
    """Run the filter over blocks; return states and covariances at the nodes, and the traces.

    `v2` is the mean square velocity about each block and `field` the field's mean squared deviation
    and its correlation with the block before (`field_about`); empty, all are run along.
    """
    n = rows.shape[0]
    states, P = np.empty((n + 1, STATE)), np.empty((n + 1, N, N))
    traces = np.empty((n, TRACE))
    state, covariance = start.copy(), P0.copy()
    keep(states, P, 0, state, covariance)
    running = begin(P0, c)
    fit = np.zeros(FIT)
    for j in range(n):
        if v2.size > 0:
            running[ABOUT_V2] = v2[j]
            running[ABOUT_DEVIATION], running[ABOUT_STAY] = field[j, 0], field[j, 1]
            running[ABOUT_CENTRED] = 1.0
        else:
            running[ABOUT_STAY] = running_stay(running, rows[j], rest[j], reference, c)
        step(state, covariance, rows[j], rest[j], running, reference, lag, fit, c, traces[j])
        run_along(running, rows[j], traces[j], c)
        keep(states, P, j + 1, state, covariance)
    return states, P, traces


@compiled
def keep(states, P, node, state, covariance):  # type: ignore[no-untyped-def]
    """Store state and covariance of one node (loops: array assignment is slow to compile)."""
    for i in range(STATE):
        states[node, i] = state[i]
    for i in range(N):
        for k in range(N):
            P[node, i, k] = covariance[i, k]


@compiled
def begin(P, c):  # type: ignore[no-untyped-def]
    """Return what is known about the first block: its velocity, and no field."""
    running = np.zeros(ABOUT)
    running[ABOUT_V2] = P[6, 6]
    if P[6, 6] > 2 * c.rest_velocity_variance:
        running[ABOUT_DOUBT] = c.doubt  # a start in motion
    return running


@compiled
def running_stay(running, row, rest, reference, c):  # type: ignore[no-untyped-def]
    """Return the disturbance's correlation over the coming block, from the past."""
    s2 = (c.field_noise * reference[0]) ** 2
    if s2 == 0.0:
        s2 = 1.0  # without a field there is no disturbance either
    shift, change = running[ABOUT_SHIFT], running[ABOUT_CHANGE]
    return staying(shift, change, row[DURATION], rest, s2, c)


@compiled
def run_along(running, row, trace, c):  # type: ignore[no-untyped-def]
    """Update the running mean of squared velocity."""
    share = 1 - np.exp(-row[DURATION] / c.velocity_window)
    running[ABOUT_V2] += share * (trace[TRACE_V2] - running[ABOUT_V2])


@compiled
def smooth_blocks(states, P, traces):  # type: ignore[no-untyped-def]
    """Smooth the filtered states in place (modified Bryson-Frazier, vectors only).

    Bierman 1973, Int J Control 18:65: with λ = 0 behind the last node, backwards over each
    block, x = x̂ − P λ; at a measurement with direction h, gain K and innovation ν of variance s,
    λ ← λ − h (K·λ + ν/s); over the block's motion F, λ ← Fᵀ λ.
    """
    n = traces.shape[0]
    co, error = np.zeros(N), np.empty(N)
    for j in range(n, -1, -1):
        for i in range(N):
            error[i] = 0.0
            for k in range(N):
                error[i] -= P[j, i, k] * co[k]
        add_error(states[j], error)
        if j > 0:
            _carry_back(co, traces[j - 1])


@compiled
def _carry_back(co, trace):  # type: ignore[no-untyped-def]
    """Carry the costate from behind a block's measurements to the block's first node."""
    if trace[TRACE_LEVELLED] == 1.0:
        # what comes behind tells of the bias alone
        for i in range(N):
            if i < 3 or i > 5:
                co[i] = 0.0
    for which in range(MEASUREMENTS - 1, -1, -1):
        if trace[TRACE_USED + which] == 0.0:
            continue
        pull = trace[TRACE_SCALED + which]
        for i in range(N):
            pull += trace[TRACE_GAIN + which * N + i] * co[i]
        if which < 2:
            co[6 + which] -= pull
        elif which < 5:
            co[1 + which] -= pull
        else:
            co[0] -= pull * trace[TRACE_HEADING]
            co[1] -= pull * trace[TRACE_HEADING + 1]
            co[2] -= pull
            co[8] -= pull
    for i in range(3):
        for k in range(3):
            co[3 + i] -= trace[TRACE_A + 3 * k + i] * co[k]
    f0, f1, f2 = trace[TRACE_F], trace[TRACE_F + 1], trace[TRACE_F + 2]
    co[0] -= f2 * co[7]
    co[1] += f2 * co[6]
    co[2] += f0 * co[7] - f1 * co[6]
    co[8] *= trace[TRACE_DECAY]


@compiled
def mean_square_velocity(rows, traces, c):  # type: ignore[no-untyped-def]
    """Return the mean square velocity over `velocity_window` about each block."""
    n = rows.shape[0]
    total = np.zeros(n + 1)
    for j in range(n):
        total[j + 1] = total[j] + traces[j, TRACE_V2]
    half = max(round(0.5 * c.velocity_window / rows[0, DURATION]), 1)
    result = np.empty(n)
    for j in range(n):
        a, b = max(j - half, 0), min(j + half + 1, n)
        result[j] = (total[b] - total[a]) / (b - a)
    return result


@compiled
def field_about(rows, traces, rest, reference, c):  # type: ignore[no-untyped-def]
    """Return the field's mean squared deviation about each block and its correlation, (n, 2).

    Both rest on means over `moving` seconds about the block; the correlation is that of the
    disturbance with the block before. Blocks without a field are left out.
    """
    n = rows.shape[0]
    total = np.zeros((n + 1, 5))  # deviation, shift, blocks; change, pairs of blocks
    for j in range(n):
        for i in range(5):
            total[j + 1, i] = total[j, i]
        if rows[j, SHARE_M] < 0.5:
            continue
        total[j + 1, 0] += traces[j, TRACE_DEVIATION]
        total[j + 1, 1] += traces[j, TRACE_SHIFT]
        total[j + 1, 2] += 1.0
        if j > 0 and rows[j - 1, SHARE_M] >= 0.5:
            before = traces[j - 1, TRACE_UP]
            total[j + 1, 3] += half_change(rows[j - 1, NORM_M], before, rows[j], traces[j])
            total[j + 1, 4] += 1.0
    half = max(round(0.5 * c.moving / rows[0, DURATION]), 1)
    s2 = (c.field_noise * reference[0]) ** 2
    if s2 == 0.0:
        s2 = 1.0
    result = np.empty((n, 2))
    for j in range(n):
        a, b = max(j - half, 0), min(j + half + 1, n)
        blocks, pairs = max(total[b, 2] - total[a, 2], 1.0), max(total[b, 4] - total[a, 4], 1.0)
        result[j, 0] = (total[b, 0] - total[a, 0]) / blocks
        shift = (total[b, 1] - total[a, 1]) / blocks
        change = (total[b, 3] - total[a, 3]) / pairs
        result[j, 1] = staying(shift, change, rows[j, DURATION], rest[j], s2, c)
    return result


__all__ = [
    "estimate_lag",
    "field_about",
    "filter_blocks",
    "filter_forward",
    "mean_square_velocity",
    "rest_blocks",
    "smooth_blocks",
]
