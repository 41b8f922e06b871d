"""The error-state filter over blocks, and its smoother.

State: attitude (sensor to earth), gyroscope bias, horizontal velocity, heading disturbance.
Error state, nine numbers: θ (3, earth frame: true attitude = exp(θ) × estimate), δb (3),
δv (2), d (1). Over a block of T seconds with earth-frame mean rotation R̄ and mean specific
force f̄:

    θ' = θ − T R̄ δb,   δv' = δv + (θ × T f̄)_xy,   d' = d exp(−T/τ).

Measurements, taken one number at a time: the velocity is zero on average; the rate at rest is
bias; the magnetic heading atan2(m_E, m_N) is
θ_z − (θ_x m_E + θ_y m_N) m_U/(m_E² + m_N²) + d.
"""

from __future__ import annotations

import numpy as np

from twinangle.kernels import compiled
from twinangle.wearable.kalman.field import (
    block_shift,
    earth_field,
    field_deviation,
    forget_disturbance,
    lasting,
    limit_decay,
    strange_at_once,
    wrapped,
)
from twinangle.wearable.kalman.magnet import (
    FIT_BLOCKS,
    FIT_DEVIATION,
    fit_magnet,
    without_lag_of_own,
    without_magnet,
)
from twinangle.wearable.kalman.preintegration import (
    BIAS,
    DURATION,
    MEAN_A,
    MEAN_G,
    MEAN_R,
    SCATTER_A,
    SCATTER_G,
    SHARE_M,
    UNSURE_ANGLE,
    UNSURE_VELOCITY,
    rotated,
)
from twinangle.wearable.kalman.states import (
    ABOUT_DOUBT,
    ABOUT_FORCE,
    ABOUT_SPAN,
    ABOUT_V2,
    GRAVITY,
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


@compiled
def turn_state(state, x, y, z):  # type: ignore[no-untyped-def]
    """Turn the attitude by the earth-frame rotation vector (x, y, z), in place."""
    angle = np.sqrt(x * x + y * y + z * z)
    s = 0.5 if angle < 1e-8 else np.sin(0.5 * angle) / angle
    a, b, c, d = np.cos(0.5 * angle), s * x, s * y, s * z
    q0, q1, q2, q3 = state[0], state[1], state[2], state[3]
    w = a * q0 - b * q1 - c * q2 - d * q3
    x = a * q1 + b * q0 + c * q3 - d * q2
    y = a * q2 - b * q3 + c * q0 + d * q1
    z = a * q3 + b * q2 - c * q1 + d * q0
    k = 1.0 / np.sqrt(w * w + x * x + y * y + z * z)
    state[0], state[1], state[2], state[3] = w * k, x * k, y * k, z * k


@compiled
def add_error(state, error):  # type: ignore[no-untyped-def]
    """Fold an error state into the state, in place."""
    turn_state(state, error[0], error[1], error[2])
    for i in range(6):
        state[4 + i] += error[3 + i]


@compiled
def rest_blocks(rows, c):  # type: ignore[no-untyped-def]
    """Tell the blocks at rest: quiet, with quiet neighbours."""
    n = rows.shape[0]
    rest = np.empty(n, dtype=np.bool_)
    before, now = True, is_quiet(rows[0], c)
    for j in range(n):
        after = is_quiet(rows[j + 1], c) if j + 1 < n else True
        rest[j] = before and now and after
        before, now = now, after
    return rest


@compiled
def is_quiet(row, c):  # type: ignore[no-untyped-def]
    """Tell whether a block's gyroscope and accelerometer hardly vary."""
    g = row[MEAN_G] ** 2 + row[MEAN_G + 1] ** 2 + row[MEAN_G + 2] ** 2
    return (
        row[SCATTER_G] < c.rest_gyroscope
        and row[SCATTER_A] < c.rest_accelerometer
        and g < c.rest_rate
    )


@compiled
def predict(state, P, row, decay, c, trace):  # type: ignore[no-untyped-def]
    """Carry state and covariance over one block; return the turn that a changed bias makes.

    `decay` is the correlation of the heading disturbance over the block.
    """
    q0, q1, q2, q3 = state[0], state[1], state[2], state[3]
    T = row[DURATION]
    A = np.empty((3, 3))
    for i in range(3):
        a, b, d = rotated(q0, q1, q2, q3, row[MEAN_R + i], row[MEAN_R + 3 + i], row[MEAN_R + 6 + i])
        A[0, i], A[1, i], A[2, i] = T * a, T * b, T * d
    b0, b1, b2 = state[4] - row[BIAS], state[5] - row[BIAS + 1], state[6] - row[BIAS + 2]
    e = np.empty(3)
    for i in range(3):
        e[i] = -(A[i, 0] * b0 + A[i, 1] * b1 + A[i, 2] * b2)
    f0, f1, f2 = rotated(q0, q1, q2, q3, T * row[MEAN_A], T * row[MEAN_A + 1], T * row[MEAN_A + 2])
    # the force is turned by half of what the bias has changed since integration
    state[7] += f0 + 0.5 * (e[1] * f2 - e[2] * f1)
    state[8] += f1 + 0.5 * (e[2] * f0 - e[0] * f2)
    # net rotation as an earth-frame vector
    r0, r1, r2, r3 = row[0], row[1], row[2], row[3]
    s = np.sqrt(r1 * r1 + r2 * r2 + r3 * r3)
    k = 2.0 if s < 1e-9 else 2.0 * np.arctan2(s, abs(r0)) / s
    if r0 < 0:
        k = -k
    n0, n1, n2 = rotated(q0, q1, q2, q3, k * r1, k * r2, k * r3)
    state[0] = q0 * r0 - q1 * r1 - q2 * r2 - q3 * r3
    state[1] = q0 * r1 + q1 * r0 + q2 * r3 - q3 * r2
    state[2] = q0 * r2 - q1 * r3 + q2 * r0 + q3 * r1
    state[3] = q0 * r3 + q1 * r2 - q2 * r1 + q3 * r0
    turn_state(state, e[0], e[1], e[2])
    state[9] *= decay
    # covariance: F P Fᵀ by rows, then by columns
    for i in range(N):
        t0, t1, t2 = P[0, i], P[1, i], P[2, i]
        P[6, i] += t1 * f2 - t2 * f1
        P[7, i] += t2 * f0 - t0 * f2
        for k3 in range(3):
            P[k3, i] -= A[k3, 0] * P[3, i] + A[k3, 1] * P[4, i] + A[k3, 2] * P[5, i]
        P[8, i] *= decay
    for i in range(N):
        t0, t1, t2 = P[i, 0], P[i, 1], P[i, 2]
        P[i, 6] += t1 * f2 - t2 * f1
        P[i, 7] += t2 * f0 - t0 * f2
        for k3 in range(3):
            P[i, k3] -= A[k3, 0] * P[i, 3] + A[k3, 1] * P[i, 4] + A[k3, 2] * P[i, 5]
        P[i, 8] *= decay
    # rounding makes P lopsided, and that part grows without bound: kept symmetric in every block
    for i in range(N):
        for k3 in range(i):
            P[i, k3] = P[k3, i] = 0.5 * (P[i, k3] + P[k3, i])
    net = c.scale * (n0 * n0 + n1 * n1 + n2 * n2) + c.rate_density * T + row[UNSURE_ANGLE]
    P[0, 0] += net
    P[1, 1] += net
    P[2, 2] += net + c.vertical_scale * n2 * n2
    for i in range(3, 6):
        P[i, i] += c.bias_density * T
    P[6, 6] += c.velocity_density * T + row[UNSURE_VELOCITY]
    P[7, 7] += c.velocity_density * T + row[UNSURE_VELOCITY]
    for i in range(3):
        for k3 in range(3):
            trace[TRACE_A + 3 * i + k3] = A[i, k3]
    trace[TRACE_F], trace[TRACE_F + 1], trace[TRACE_F + 2] = f0, f1, f2
    trace[TRACE_DECAY] = decay
    trace[TRACE_V2] = 0.5 * (state[7] ** 2 + state[8] ** 2)
    return e


@compiled
def measure(x, P, h, innovation, variance, which, trace):  # type: ignore[no-untyped-def]
    """Take one scalar measurement: `innovation` = h · error + noise."""
    ph = np.zeros(N)
    for j in range(N):
        if h[j] != 0.0:
            for i in range(N):
                ph[i] += P[i, j] * h[j]
    s = variance
    nu = innovation
    for i in range(N):
        s += h[i] * ph[i]
        nu -= h[i] * x[i]
    for i in range(N):
        gain = ph[i] / s
        x[i] += gain * nu
        trace[TRACE_GAIN + which * N + i] = gain
        for j in range(N):
            P[i, j] -= gain * ph[j]
    trace[TRACE_SCALED + which] = nu / s
    trace[TRACE_USED + which] = 1.0


@compiled
def lose_attitude(state, P):  # type: ignore[no-untyped-def]
    """Widen the attitude's covariance where the velocity is none that a body has.

    A tilt of θ makes a velocity of g θ t; t is taken for a second. Such an attitude comes of a
    saturated gyroscope, and is found again from the blocks that follow.
    """
    square = state[7] ** 2 + state[8] ** 2
    for i in range(3):
        P[i, i] += square / GRAVITY**2
    P[6, 6] += square
    P[7, 7] += square


@compiled
def vertical_contradicted(about, duration, c, trace):  # type: ignore[no-untyped-def]
    """Add a block's specific force to its mean; tell whether that lies far from the vertical.

    A segment's velocity is bounded, so that its acceleration is zero on average and the mean
    specific force is vertical: a change of 4 m/s within 5 s tilts it by 5°.
    """
    keep = np.exp(-duration / c.velocity_window)
    about[ABOUT_SPAN] = keep * about[ABOUT_SPAN] + duration
    square = 0.0
    for i in range(3):
        about[ABOUT_FORCE + i] = keep * about[ABOUT_FORCE + i] + trace[TRACE_F + i]
        square += about[ABOUT_FORCE + i] ** 2
    # the sum's span grows towards the window's: two thirds of it are reached after one window
    enough = about[ABOUT_SPAN] > 0.63 * c.velocity_window
    force = np.sqrt(square)
    heavy = force > 0.5 * GRAVITY * about[ABOUT_SPAN]
    return enough and heavy and about[ABOUT_FORCE + 2] < c.contradiction * force


@compiled
def level_again(state, P, about, c, trace):  # type: ignore[no-untyped-def]
    """Turn the attitude the shortest way that makes the mean specific force vertical.

    Nothing that was known of attitude, velocity and disturbance is kept; the bias is.
    """
    f0, f1, f2 = about[ABOUT_FORCE], about[ABOUT_FORCE + 1], about[ABOUT_FORCE + 2]
    across = np.sqrt(f0 * f0 + f1 * f1)
    angle = np.arctan2(across, f2)
    if across > 1e-9 * abs(f2):
        turn_state(state, angle * f1 / across, -angle * f0 / across, 0.0)
    else:  # upside down to the last digit: any way is the shortest
        turn_state(state, np.pi, 0.0, 0.0)
    for i in range(N):
        if i < 3 or i > 5:
            for k in range(N):
                P[i, k] = P[k, i] = 0.0
    P[0, 0] = P[1, 1] = c.levelled_tilt
    P[2, 2] = c.levelled_heading
    P[6, 6] = P[7, 7] = c.velocity_ceiling
    state[7], state[8], state[9] = 0.0, 0.0, 0.0
    for i in range(4):
        about[ABOUT_FORCE + i] = 0.0
    about[ABOUT_DOUBT] = c.doubt
    trace[TRACE_LEVELLED] = 1.0


@compiled
def step(state, P, row, rest, about, reference, lag, fit, c, trace):  # type: ignore[no-untyped-def]
    """Carry the filter over one block and take its measurements.

    `about` holds what is known of motion and field about this block, `reference` the field's norm,
    upward part (NaN while unknown) and usual mean squared deviation.
    """
    for i in range(TRACE):
        trace[i] = 0.0
    before = state.copy()
    e = predict(state, P, row, lasting(state, about, row, reference, c), c, trace)
    if 2 * trace[TRACE_V2] > 9 * c.velocity_ceiling:
        lose_attitude(state, P)
        about[ABOUT_DOUBT] = c.doubt
    x = np.zeros(N)
    h = np.zeros(N)
    T = row[DURATION]
    if rest:
        v_variance = c.rest_velocity_variance
    else:
        v_variance = min(max(about[ABOUT_V2], c.velocity_floor), c.velocity_ceiling) * (
            1 + 2 * c.velocity_correlation / T
        )
    for i in range(2):
        h[6 + i] = 1.0
        measure(x, P, h, -state[7 + i], v_variance, i, trace)
        h[6 + i] = 0.0
    if rest:
        for i in range(3):
            h[3 + i] = 1.0
            innovation = row[MEAN_G + i] - state[4 + i]
            measure(x, P, h, innovation, c.rest_bias_variance, 2 + i, trace)
            h[3 + i] = 0.0
    if row[SHARE_M] >= 0.5 and reference[0] > 0:
        m0, m1, m2 = earth_field(before, row, e, lag)
        trace[TRACE_UP] = m2
        trace[TRACE_DEVIATION] = field_deviation(row, m2, reference)
        trace[TRACE_SHIFT] = block_shift(row, m2, reference)
        deviation = strange_at_once(about, row, reference, c, trace)
        spread = 0.0
        A = np.empty((3, 3))
        for i in range(3):
            for k in range(3):
                A[i, k] = trace[TRACE_A + 3 * i + k] / T
        without_lag_of_own(before, lag, state, T, A)
        usual = (c.field_noise * reference[0]) ** 2 + reference[2]
        fit_magnet(fit, A, m0, m1, m2, usual, row, c)
        n0, n1, n2, share = without_magnet(fit, A, m0, m1, m2, reference, row, c)
        strange = deviation > c.forget * c.rejection * usual
        fitted = fit[FIT_BLOCKS] * T > 0.99 * c.magnet_least
        if strange and fitted and fit[FIT_DEVIATION] < c.rejection * usual:
            m0, m1, m2, spread, deviation = n0, n1, n2, share * usual, fit[FIT_DEVIATION]
            trace[TRACE_MAGNET] = 1.0
            # what is left of the disturbance is as in an undisturbed field
            limit_decay(state, P, trace, np.exp(-T / c.moving))
        sure = about[ABOUT_DOUBT] <= 0.0
        take_heading(state, P, x, h, deviation, spread, sure, m0, m1, m2, reference, c, trace)
    about[ABOUT_DOUBT] -= T
    add_error(state, x)
    state[9] = wrapped(state[9])
    if vertical_contradicted(about, T, c, trace):
        level_again(state, P, about, c, trace)


@compiled
def take_heading(state, P, x, h, deviation, spread, sure, m0, m1, m2, reference, c, trace):  # type: ignore[no-untyped-def]
    """Take the magnetic heading, trusted by how far the field is from its reference."""
    norm, up = reference[0], reference[1]
    s2 = (c.field_noise * norm) ** 2
    level = norm * norm - (m2 * m2 if np.isnan(up) else up * up)
    horizontal = max(level, 0.01 * norm * norm)
    usual = s2 + reference[2]
    strangeness = deviation / (c.rejection * usual)
    variance = (usual * (1 + strangeness**4) + spread) / horizontal
    if strangeness > c.forget:
        forget_disturbance(state, P, trace)
    decay = trace[TRACE_DECAY]
    # the first reading finds no disturbance carried over
    P[8, 8] = variance if P[8, 8] == 0.0 else P[8, 8] + variance * (1 - decay * decay)
    level = max(m0 * m0 + m1 * m1, 0.01 * norm * norm)
    h[0], h[1], h[2], h[8] = -m2 * m0 / level, -m2 * m1 / level, 1.0, 1.0
    trace[TRACE_HEADING], trace[TRACE_HEADING + 1] = h[0], h[1]
    innovation = wrapped(np.arctan2(m0, m1) - state[9])
    left, expected = innovation, c.heading_variance
    for i in range(N):
        left -= h[i] * x[i]
        for k in range(N):
            expected += h[i] * P[i, k] * h[k]
    excess = left * left / c.gate - expected
    if sure and excess > 0.0:
        P[8, 8] += excess  # the disturbance has jumped
    measure(x, P, h, innovation, c.heading_variance, 5, trace)
