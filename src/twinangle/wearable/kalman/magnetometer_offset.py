"""The magnetometer's own offset, from the earth's field standing still while the sensor turns."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from twinangle.wearable.kalman.preintegration import (
    DURATION,
    MEAN_M,
    MEAN_R,
    MEAN_WM,
    NORM_M,
    ROTATION,
    SENSOR_M,
    SQUARE_M,
)

Array = NDArray[np.float64]


def estimate_offset(
    rows: Array, attitude: Array, weight: Array, lag: float, held: Array, prior: float
) -> Array:
    """Return what is still to be taken off the magnetometer.

    With a block's mean rotation A = R mean(R_i) and mean field y = R mean(R_i (m − τ ω × m)) in the
    earth frame, y = B + A b + noise for the earth's field B and the offset b: weighted least
    squares, b drawn to zero by its prior.

    Parameters
    ----------
    rows : (n, COLUMNS) array
    attitude : (n, 4) array
        Of the blocks' first nodes, sensor to earth, scalar first.
    weight : (n,) array
        Inverse variance of a block's field times its share of innovation; 0 where there is no
        field.
    lag : float
        Of the magnetometer, in seconds.
    held : (3,) array
        Offset taken off already.
    prior : float
        SD of the whole offset on each axis.
    """
    used = np.flatnonzero(weight > 0)
    if used.size == 0:
        return np.zeros(3)
    R = matrices(attitude[used])
    rows, weight = rows[used], weight[used]
    turns = R @ rows[:, MEAN_R : MEAN_R + 9].reshape(-1, 3, 3)
    field = rows[:, MEAN_M : MEAN_M + 3] - lag * rows[:, MEAN_WM : MEAN_WM + 3]
    field = (R @ field[:, :, None])[:, :, 0]
    turns -= np.average(turns, axis=0, weights=weight)
    field -= np.average(field, axis=0, weights=weight)
    weighted = turns * weight[:, None, None]
    normal = np.tensordot(weighted, turns, axes=((0, 1), (0, 1))) + np.eye(3) / prior**2
    right = np.tensordot(weighted, field, axes=((0, 1), (0, 1))) - held / prior**2
    return np.asarray(np.linalg.solve(normal, right))


def remove_offset(rows: Array, offset: Array) -> None:
    """Take an offset off the magnetometer's sums, in place.

    ∫ R (ω × b) dt = (R(T) − I) b, as R' = R [ω]×. The mean square is corrected exactly, the mean
    norm as if the field did not turn in the sensor's frame within the block.
    """
    seen = rows[:, NORM_M] > 0
    mean = rows[:, SENSOR_M : SENSOR_M + 3].copy()
    rows[seen, MEAN_M : MEAN_M + 3] -= (rows[seen, MEAN_R : MEAN_R + 9].reshape(-1, 3, 3)) @ offset
    turned = (matrices(rows[:, ROTATION : ROTATION + 4]) - np.eye(3)) @ offset
    rows[seen, MEAN_WM : MEAN_WM + 3] -= (turned / rows[:, DURATION, None])[seen]
    rows[seen, SENSOR_M : SENSOR_M + 3] -= offset
    change = offset @ offset - 2 * mean[seen] @ offset
    rows[seen, SQUARE_M] += change
    rows[seen, NORM_M] = np.sqrt(np.maximum(rows[seen, NORM_M] ** 2 + change, 0.0))


def matrices(quaternions: Array) -> Array:
    """Convert quaternions (n, 4), scalar first, to rotation matrices (n, 3, 3)."""
    w, x, y, z = quaternions.T
    return np.stack(
        [
            np.stack([1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)], axis=1),
            np.stack([2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)], axis=1),
            np.stack([2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)], axis=1),
        ],
        axis=1,
    )
