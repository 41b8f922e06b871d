"""A magnet fixed to the sensor, told from iron in the room by what it turns with.

With A the mean rotation of a block and y its mean field, both in the earth frame, y = B + A b for
the earth's field B and a magnet's field b that is constant in the sensor's frame. Both are fitted
to the last blocks by least squares with exponential forgetting; only while the sensor turns can
the two be told apart, and the covariance of b says how well. Where the field is strange and
y − A b is not, the heading is taken from y − A b.
"""

from __future__ import annotations

import numpy as np

from twinangle.kernels import compiled
from twinangle.wearable.kalman.preintegration import DURATION

# What is summed over the last blocks, with A the block's mean rotation and y its mean field.
FIT_COUNT = 0  # weight of the blocks
FIT_BLOCKS = 1  # blocks since the fit began
FIT_A = 2  # 9: Σ A
FIT_Y = 11  # 3: Σ y
FIT_AA = 14  # 9: Σ AᵀA
FIT_AY = 23  # 3: Σ Aᵀy
FIT_B = 26  # 3: the magnet's field in the sensor's frame
FIT_INVERSE = 29  # 9: its covariance, in terms of the variance of y
FIT_DEVIATION = 38  # running mean squared deviation of the field without the magnet
FIT = 39
FREE = 4  # blocks that a fit of six numbers follows before it is judged: two more than needed


@compiled
def without_lag_of_own(q, lag, turned, duration, A):  # type: ignore[no-untyped-def]
    """Take τ (R₁ − R₀)/T off A; R₀ and R₁ are the attitudes `q` and `turned` at a block's ends.

    A field that turns with the sensor is not late, so that the lag's correction must leave it out.
    """
    add_rotation(A, q, lag / duration)
    add_rotation(A, turned, -lag / duration)


@compiled
def add_rotation(A, q, k):  # type: ignore[no-untyped-def]
    """Add k times the rotation matrix of the quaternion q to A, in place."""
    w, x, y, z = q[0], q[1], q[2], q[3]
    A[0, 0] += k * (1 - 2 * (y * y + z * z))
    A[0, 1] += k * 2 * (x * y - w * z)
    A[0, 2] += k * 2 * (x * z + w * y)
    A[1, 0] += k * 2 * (x * y + w * z)
    A[1, 1] += k * (1 - 2 * (x * x + z * z))
    A[1, 2] += k * 2 * (y * z - w * x)
    A[2, 0] += k * 2 * (x * z - w * y)
    A[2, 1] += k * 2 * (y * z + w * x)
    A[2, 2] += k * (1 - 2 * (x * x + y * y))


@compiled
def fit_magnet(fit, A, m0, m1, m2, usual, row, c):  # type: ignore[no-untyped-def]
    """Fit y = B + A b to the last blocks, the present one included; begin anew where it jumps."""
    y = (m0, m1, m2)
    if fit[FIT_BLOCKS] >= FREE:
        off = 0.0
        for i in range(3):
            e = y[i] - fit[FIT_Y + i] / fit[FIT_COUNT]
            for k in range(3):
                e -= (A[i, k] - fit[FIT_A + 3 * i + k] / fit[FIT_COUNT]) * fit[FIT_B + k]
            off += e * e
        if off > c.magnet_jump * usual:
            for i in range(FIT):
                fit[i] = 0.0
    keep = np.exp(-row[DURATION] / c.magnet_memory)
    for i in range(FIT_B):
        if i != FIT_BLOCKS:
            fit[i] *= keep
    fit[FIT_COUNT] += 1.0
    fit[FIT_BLOCKS] += 1.0
    for i in range(3):
        fit[FIT_Y + i] += y[i]
        for k in range(3):
            fit[FIT_A + 3 * i + k] += A[i, k]
            fit[FIT_AY + k] += A[i, k] * y[i]
            for n in range(3):
                fit[FIT_AA + 3 * k + n] += A[i, k] * A[i, n]
    solve_magnet(fit, c.magnet_ridge)


@compiled
def solve_magnet(fit, ridge):  # type: ignore[no-untyped-def]
    """Solve the normal equations of a fit for the magnet's field, by cofactors."""
    M, r = np.empty((3, 3)), np.empty(3)
    n = fit[FIT_COUNT]
    for k in range(3):
        r[k] = fit[FIT_AY + k]
        for i in range(3):
            r[k] -= fit[FIT_A + 3 * i + k] * fit[FIT_Y + i] / n
        for j in range(3):
            M[k, j] = fit[FIT_AA + 3 * k + j] + (ridge if k == j else 0.0)
            for i in range(3):
                M[k, j] -= fit[FIT_A + 3 * i + k] * fit[FIT_A + 3 * i + j] / n
    determinant = 0.0
    for k in range(3):
        for j in range(3):
            a, b, d, e = (k + 1) % 3, (k + 2) % 3, (j + 1) % 3, (j + 2) % 3
            fit[FIT_INVERSE + 3 * j + k] = M[a, d] * M[b, e] - M[a, e] * M[b, d]
        determinant += M[k, 0] * fit[FIT_INVERSE + k]
    for k in range(9):
        fit[FIT_INVERSE + k] /= determinant
    for k in range(3):
        fit[FIT_B + k] = 0.0
        for j in range(3):
            fit[FIT_B + k] += fit[FIT_INVERSE + 3 * k + j] * r[j]


@compiled
def without_magnet(fit, A, m0, m1, m2, reference, row, c):  # type: ignore[no-untyped-def]
    """Return the field without the magnet, and what the fit adds to the heading's variance."""
    b0, b1, b2 = fit[FIT_B], fit[FIT_B + 1], fit[FIT_B + 2]
    x = m0 - A[0, 0] * b0 - A[0, 1] * b1 - A[0, 2] * b2
    y = m1 - A[1, 0] * b0 - A[1, 1] * b1 - A[1, 2] * b2
    z = m2 - A[2, 0] * b0 - A[2, 1] * b1 - A[2, 2] * b2
    off = (np.sqrt(x * x + y * y + z * z) - reference[0]) ** 2
    if not np.isnan(reference[1]):
        off += (z - reference[1]) ** 2
    share = 1 - np.exp(-2 * row[DURATION] / c.moving)
    if fit[FIT_BLOCKS] == 1.0:
        share = 1.0
    fit[FIT_DEVIATION] += share * (off - fit[FIT_DEVIATION])
    level = max(np.sqrt(x * x + y * y), 0.1 * reference[0])
    spread = 0.0
    for k in range(3):
        across = (y * A[0, k] - x * A[1, k]) / level
        for j in range(3):
            spread += across * fit[FIT_INVERSE + 3 * k + j] * (y * A[0, j] - x * A[1, j]) / level
    return x, y, z, spread
