"""The magnetic field about a block: how strange it is, and how long its disturbance lasts."""

from __future__ import annotations

import numpy as np

from twinangle.kernels import compiled
from twinangle.wearable.kalman.preintegration import (
    DURATION,
    MEAN_M,
    MEAN_WM,
    NORM_M,
    SQUARE_M,
    rotated,
)
from twinangle.wearable.kalman.states import (
    ABOUT_CENTRED,
    ABOUT_CHANGE,
    ABOUT_DEVIATION,
    ABOUT_DOUBT,
    ABOUT_NORM,
    ABOUT_SHIFT,
    ABOUT_STAY,
    ABOUT_UP,
    TRACE_DECAY,
    TRACE_DEVIATION,
    TRACE_SHIFT,
    TRACE_UP,
    N,
)


@compiled
def earth_field(before, row, e, lag):  # type: ignore[no-untyped-def]
    """Return the block's mean field in the earth frame, the lag taken out."""
    m0, m1, m2 = rotated(
        before[0],
        before[1],
        before[2],
        before[3],
        row[MEAN_M] - lag * row[MEAN_WM],
        row[MEAN_M + 1] - lag * row[MEAN_WM + 1],
        row[MEAN_M + 2] - lag * row[MEAN_WM + 2],
    )
    x, y, z = 0.5 * e[0], 0.5 * e[1], 0.5 * e[2]
    return m0 + y * m2 - z * m1, m1 + z * m0 - x * m2, m2 + x * m1 - y * m0


@compiled
def field_deviation(row, up, reference):  # type: ignore[no-untyped-def]
    """Return the mean squared deviation of the field's norm and upward part."""
    norm = row[SQUARE_M] - 2 * reference[0] * row[NORM_M] + reference[0] ** 2
    if np.isnan(reference[1]):
        return norm
    return norm + (up - reference[1]) ** 2


@compiled
def block_shift(row, up, reference):  # type: ignore[no-untyped-def]
    """Return the squared deviation of the block's mean norm and upward part."""
    norm = (row[NORM_M] - reference[0]) ** 2
    return norm if np.isnan(reference[1]) else norm + (up - reference[1]) ** 2


@compiled
def staying(shift, change, duration, rest, s2, c):  # type: ignore[no-untyped-def]
    """Return the correlation of the heading disturbance from one block to the next.

    A stationary sequence of variance V changes by a mean square of 2 V (1 − ρ) a step. `shift` is
    the variance of what disturbs the field and `change` half the mean square of its steps; `s2`,
    the undisturbed part, is given the time constants of motion and rest.
    """
    undisturbed = duration / (c.rest if rest else c.moving) * s2
    longest = np.exp(-duration / c.rest)
    return min(max(1 - (change + undisturbed) / (shift + s2), 0.0), longest)


@compiled
def forget_disturbance(state, P, trace):  # type: ignore[no-untyped-def]
    """Take the disturbance of heading for a new one, as if nothing of it lasted into the block."""
    state[9], trace[TRACE_DECAY] = 0.0, 0.0
    for i in range(N):
        P[8, i] = P[i, 8] = 0.0


@compiled
def strange_at_once(about, row, reference, c, trace):  # type: ignore[no-untyped-def]
    """Return the field's mean squared deviation; in the order of time it is that of the past.

    A block that makes the past's mean strange is counted at once, so that a magnet's first block
    is not taken for the undisturbed field.
    """
    past = about[ABOUT_DEVIATION]
    if about[ABOUT_CENTRED] == 0.0:
        field_along(about, row, trace, c)
    usual = (c.field_noise * reference[0]) ** 2 + reference[2]
    strange = about[ABOUT_DEVIATION] > c.forget * c.rejection * usual
    return about[ABOUT_DEVIATION] if strange else past


@compiled
def lasting(state, about, row, reference, c):  # type: ignore[no-untyped-def]
    """Return the correlation of the disturbance over a block.

    One that is beyond what is usual was found by a jump of the heading, and lasts `found` at least.
    """
    norm, up = reference[0], reference[1]
    usual = (c.field_noise * norm) ** 2 + reference[2]
    level = 0.5 * norm * norm if np.isnan(up) else max(norm * norm - up * up, 0.01 * norm * norm)
    if about[ABOUT_DOUBT] <= 0.0 and state[9] ** 2 * level > c.gate * usual:
        return max(about[ABOUT_STAY], np.exp(-row[DURATION] / c.found))
    return about[ABOUT_STAY]


@compiled
def limit_decay(state, P, trace, decay):  # type: ignore[no-untyped-def]
    """Let the disturbance's correlation over the block be `decay` at most."""
    if trace[TRACE_DECAY] <= decay:
        return
    k = decay / trace[TRACE_DECAY]
    trace[TRACE_DECAY] = decay
    state[9] *= k
    for i in range(N):
        P[8, i] *= k
        P[i, 8] *= k


@compiled
def wrapped(angle):  # type: ignore[no-untyped-def]
    """Return an angle between −π and π."""
    return (angle + np.pi) % (2 * np.pi) - np.pi


@compiled
def field_along(running, row, trace, c):  # type: ignore[no-untyped-def]
    """Update the running means of the field's deviation and change, the block included."""
    # half of the centred window, as only its first half lies in the past
    share = 1 - np.exp(-2 * row[DURATION] / c.moving)
    running[ABOUT_DEVIATION] += share * (trace[TRACE_DEVIATION] - running[ABOUT_DEVIATION])
    running[ABOUT_SHIFT] += share * (trace[TRACE_SHIFT] - running[ABOUT_SHIFT])
    if running[ABOUT_NORM] > 0:
        change = half_change(running[ABOUT_NORM], running[ABOUT_UP], row, trace)
        running[ABOUT_CHANGE] += share * (change - running[ABOUT_CHANGE])
    running[ABOUT_NORM], running[ABOUT_UP] = row[NORM_M], trace[TRACE_UP]


@compiled
def half_change(norm, up, row, trace):  # type: ignore[no-untyped-def]
    """Return half of the squared change of the field's norm and upward part."""
    return 0.5 * ((row[NORM_M] - norm) ** 2 + (trace[TRACE_UP] - up) ** 2)
