"""Blocks of samples reduced to one rotation and a few rotated means.

Within a block the attitude is carried from the block's own start, so that nothing here depends
on the estimate (Lupton & Sukkarieh 2012, IEEE Trans Robot 28:61; Forster et al. 2017, IEEE Trans
Robot 33:1). With R_i the rotation from sample i to the block's first node, a row of `SUMS` holds
the rotation over the block, the means of R, R a, R m and R(ω × m), what the magnetometer's lag and
the field's norm need, and the scatter by which rest is told.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from twinangle.kernels import compiled

Array = NDArray[np.float64]

# Columns of a block's row.
ROTATION = 0  # 4: quaternion over the block
MEAN_R = 4  # 9: mean rotation matrix, row by row
MEAN_A = 13  # 3: mean of R a
MEAN_M = 16  # 3: mean of R m
MEAN_WM = 19  # 3: mean of R(ω × m)
SQUARE_WM = 22  # mean of |ω × m|²
NORM_M = 23  # mean of |m|
SQUARE_M = 24  # mean of |m|²
SCATTER_G = 25  # variance of the gyroscope, summed over axes
SCATTER_A = 26  # variance of the accelerometer, summed over axes
MEAN_G = 27  # 3: mean gyroscope, bias included
BIAS = 30  # 3: bias taken off before integrating
SHARE_M = 33  # share of the samples with a magnetometer reading
DURATION = 34  # s
SENSOR_M = 35  # 3: mean of m in the sensor's own frame
UNSURE_ANGLE = 38  # variance that bridged samples add to the angle, rad²
UNSURE_VELOCITY = 39  # and to the velocity, (m/s)²
COLUMNS = 40

# Series coefficients: 1/k! for the cosine, half of it for the sine.
C2, C4, C6, C8, C10 = (1 / math.factorial(k) for k in (2, 4, 6, 8, 10))
C3, C5, C7, C9, C11 = (0.5 / math.factorial(k) for k in (3, 5, 7, 9, 11))


@compiled
def rotated(w, x, y, z, u, v, t):  # type: ignore[no-untyped-def]
    """Rotate the vector (u, v, t) by the unit quaternion (w, x, y, z)."""
    a, b, c = 2 * (y * t - z * v), 2 * (z * u - x * t), 2 * (x * v - y * u)
    return (u + w * a + y * c - z * b, v + w * b + z * a - x * c, t + w * c + x * b - y * a)


@compiled
def turned(w, x, y, z, a, b, c):  # type: ignore[no-untyped-def]
    """Multiply the quaternion (w, x, y, z) by exp of half the rotation vector (a, b, c)."""
    n = 0.25 * (a * a + b * b + c * c)  # squared half angle
    if n < 0.25:  # series of sin(h)/(2h) and cos(h), exact to 1e-12 here
        s = 0.5 + n * (-C3 + n * (C5 + n * (-C7 + n * (C9 - n * C11))))
        h = 1.0 + n * (-C2 + n * (C4 + n * (-C6 + n * (C8 - n * C10))))
    else:
        r = np.sqrt(n)
        s, h = 0.5 * np.sin(r) / r, np.cos(r)
    a, b, c = s * a, s * b, s * c
    return (
        w * h - x * a - y * b - z * c,
        w * a + x * h + y * c - z * b,
        w * b - x * c + y * h + z * a,
        w * c + x * b - y * a + z * h,
    )


@compiled
def integrate_block(  # type: ignore[no-untyped-def]
    gyroscope, accelerometer, magnetometer, first, last, interval, trapezoid, bias, relative, row
):
    """Reduce the samples after `first` up to `last` to one `row`.

    Sample `first` is the block's node. `relative[i]` receives the rotation from sample i to the
    node. The gyroscope's sample k is the mean rate over the interval that ends at k, or with
    `trapezoid` the rate at k, when the interval's rate is the mean of its two ends. An empty
    magnetometer means none. A fourth column of gyroscope and accelerometer holds the variance that
    a bridged sample adds to their integrals.
    """
    q0, q1, q2, q3 = 1.0, 0.0, 0.0, 0.0
    bx, by, bz = bias[0], bias[1], bias[2]
    magnetic = magnetometer.shape[0] > 0
    for i in range(COLUMNS):
        row[i] = 0.0
    r00 = r01 = r02 = r10 = r11 = r12 = r20 = r21 = r22 = 0.0
    ax = ay = az = aa = sx = sy = sz = 0.0
    gx = gy = gz = gg = 0.0
    mx = my = mz = mm = mn = cx = cy = cz = cc = 0.0
    ux = uy = uz = 0.0
    va = vv = 0.0
    seen = 0
    p0, p1, p2 = gyroscope[first, 0], gyroscope[first, 1], gyroscope[first, 2]
    for i in range(first + 1, last + 1):
        g0, g1, g2 = gyroscope[i, 0], gyroscope[i, 1], gyroscope[i, 2]
        w0, w1, w2 = g0 - bx, g1 - by, g2 - bz
        if trapezoid:
            u0, u1, u2 = 0.5 * (g0 + p0) - bx, 0.5 * (g1 + p1) - by, 0.5 * (g2 + p2) - bz
        else:
            u0, u1, u2 = w0, w1, w2
        p0, p1, p2 = g0, g1, g2
        q0, q1, q2, q3 = turned(q0, q1, q2, q3, u0 * interval, u1 * interval, u2 * interval)
        relative[i, 0], relative[i, 1], relative[i, 2], relative[i, 3] = q0, q1, q2, q3
        # half of (rotation matrix − identity)
        t00, t11, t22 = -q2 * q2 - q3 * q3, -q1 * q1 - q3 * q3, -q1 * q1 - q2 * q2
        t01, t02, t10 = q1 * q2 - q0 * q3, q1 * q3 + q0 * q2, q1 * q2 + q0 * q3
        t12, t20, t21 = q2 * q3 - q0 * q1, q1 * q3 - q0 * q2, q2 * q3 + q0 * q1
        r00, r11, r22 = r00 + t00, r11 + t11, r22 + t22
        r01, r02, r10 = r01 + t01, r02 + t02, r10 + t10
        r12, r20, r21 = r12 + t12, r20 + t20, r21 + t21
        va += gyroscope[i, 3]
        vv += accelerometer[i, 3]
        a0, a1, a2 = accelerometer[i, 0], accelerometer[i, 1], accelerometer[i, 2]
        sx += a0
        sy += a1
        sz += a2
        aa += a0 * a0 + a1 * a1 + a2 * a2
        ax += a0 + 2 * (t00 * a0 + t01 * a1 + t02 * a2)
        ay += a1 + 2 * (t10 * a0 + t11 * a1 + t12 * a2)
        az += a2 + 2 * (t20 * a0 + t21 * a1 + t22 * a2)
        gx += g0
        gy += g1
        gz += g2
        gg += g0 * g0 + g1 * g1 + g2 * g2
        if magnetic and not np.isnan(magnetometer[i, 0] + magnetometer[i, 1] + magnetometer[i, 2]):
            m0, m1, m2 = magnetometer[i, 0], magnetometer[i, 1], magnetometer[i, 2]
            c0, c1, c2 = w1 * m2 - w2 * m1, w2 * m0 - w0 * m2, w0 * m1 - w1 * m0
            square = m0 * m0 + m1 * m1 + m2 * m2
            seen += 1
            ux += m0
            uy += m1
            uz += m2
            mm += square
            mn += np.sqrt(square)
            cc += c0 * c0 + c1 * c1 + c2 * c2
            mx += m0 + 2 * (t00 * m0 + t01 * m1 + t02 * m2)
            my += m1 + 2 * (t10 * m0 + t11 * m1 + t12 * m2)
            mz += m2 + 2 * (t20 * m0 + t21 * m1 + t22 * m2)
            cx += c0 + 2 * (t00 * c0 + t01 * c1 + t02 * c2)
            cy += c1 + 2 * (t10 * c0 + t11 * c1 + t12 * c2)
            cz += c2 + 2 * (t20 * c0 + t21 * c1 + t22 * c2)
    count = last - first
    k = 1.0 / count
    row[0], row[1], row[2], row[3] = q0, q1, q2, q3
    row[4], row[5], row[6] = 1 + 2 * k * r00, 2 * k * r01, 2 * k * r02
    row[7], row[8], row[9] = 2 * k * r10, 1 + 2 * k * r11, 2 * k * r12
    row[10], row[11], row[12] = 2 * k * r20, 2 * k * r21, 1 + 2 * k * r22
    row[13], row[14], row[15] = k * ax, k * ay, k * az
    row[SCATTER_G] = k * gg - k * k * (gx * gx + gy * gy + gz * gz)
    row[SCATTER_A] = k * aa - k * k * (sx * sx + sy * sy + sz * sz)
    row[27], row[28], row[29] = k * gx, k * gy, k * gz
    row[30], row[31], row[32] = bx, by, bz
    row[SHARE_M] = k * seen
    row[DURATION] = count * interval
    row[UNSURE_ANGLE], row[UNSURE_VELOCITY] = va, vv
    if seen > 0:
        k = 1.0 / seen
        row[16], row[17], row[18] = k * mx, k * my, k * mz
        row[19], row[20], row[21] = k * cx, k * cy, k * cz
        row[35], row[36], row[37] = k * ux, k * uy, k * uz
        row[SQUARE_WM], row[NORM_M], row[SQUARE_M] = k * cc, k * mn, k * mm


@compiled
def integrate_blocks(  # type: ignore[no-untyped-def]
    gyroscope, accelerometer, magnetometer, nodes, interval, trapezoid, bias, relative
):
    """Reduce every block between two `nodes`; return one row a block."""
    rows = np.empty((nodes.size - 1, COLUMNS))
    relative[0, 0], relative[0, 1], relative[0, 2], relative[0, 3] = 1.0, 0.0, 0.0, 0.0
    for j in range(nodes.size - 1):
        integrate_block(
            gyroscope,
            accelerometer,
            magnetometer,
            nodes[j],
            nodes[j + 1],
            interval,
            trapezoid,
            bias,
            relative,
            rows[j],
        )
    return rows


@compiled
def place_blocks(nodes, starts, ends, relative):  # type: ignore[no-untyped-def]
    """Turn block-relative rotations into attitudes, in place.

    `starts[j]` is the attitude of block j's first node and `ends[j]` that of its last. Where the
    rotation integrated over the block does not lead from the one to the other, the difference is
    spread evenly over the block's samples.
    """
    for j in range(nodes.size - 1):
        first, last = nodes[j], nodes[j + 1]
        a0, a1, a2, a3 = starts[j, 0], starts[j, 1], starts[j, 2], starts[j, 3]
        e0, e1, e2, e3 = ends[j, 0], ends[j, 1], ends[j, 2], ends[j, 3]
        r0, r1, r2, r3 = (
            relative[last, 0],
            -relative[last, 1],
            -relative[last, 2],
            -relative[last, 3],
        )
        # the start that would lead to the end: end times inverse of the block's rotation
        f0 = e0 * r0 - e1 * r1 - e2 * r2 - e3 * r3
        f1 = e0 * r1 + e1 * r0 + e2 * r3 - e3 * r2
        f2 = e0 * r2 - e1 * r3 + e2 * r0 + e3 * r1
        f3 = e0 * r3 + e1 * r2 - e2 * r1 + e3 * r0
        sign = 1.0 if f0 * a0 + f1 * a1 + f2 * a2 + f3 * a3 > 0 else -1.0
        k = 1.0 / (last - first)
        d0, d1, d2, d3 = (
            k * (sign * f0 - a0),
            k * (sign * f1 - a1),
            k * (sign * f2 - a2),
            k * (sign * f3 - a3),
        )
        if j == 0:
            relative[first, 0], relative[first, 1] = a0, a1
            relative[first, 2], relative[first, 3] = a2, a3
        for i in range(first + 1, last + 1):
            t = i - first
            s0, s1, s2, s3 = a0 + t * d0, a1 + t * d1, a2 + t * d2, a3 + t * d3
            r0, r1, r2, r3 = relative[i, 0], relative[i, 1], relative[i, 2], relative[i, 3]
            w = s0 * r0 - s1 * r1 - s2 * r2 - s3 * r3
            x = s0 * r1 + s1 * r0 + s2 * r3 - s3 * r2
            y = s0 * r2 - s1 * r3 + s2 * r0 + s3 * r1
            z = s0 * r3 + s1 * r2 - s2 * r1 + s3 * r0
            k = 1.0 / np.sqrt(w * w + x * x + y * y + z * z)
            relative[i, 0], relative[i, 1] = w * k, x * k
            relative[i, 2], relative[i, 3] = y * k, z * k
