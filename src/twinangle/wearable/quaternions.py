"""Quaternion arithmetic on (n, 4) arrays, scalar first; NaN rows are gaps and stay gaps.

`scipy.spatial.transform.Rotation` refuses NaN rows, so the few operations the angle needs are
written out here and tested against it.
"""

from __future__ import annotations

import numpy as np

from twinangle.signals.recording import Array


def cross(left: Array, right: Array) -> Array:
    """Return the cross product of (…, 3) vectors; numpy's own costs several times as much."""
    x1, y1, z1 = left[..., 0], left[..., 1], left[..., 2]
    x2, y2, z2 = right[..., 0], right[..., 1], right[..., 2]
    return _together(y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2)


def multiply(left: Array, right: Array) -> Array:
    """Return the Hamilton product `left` ⊗ `right`, broadcasting over leading dimensions."""
    w1, x1, y1, z1 = left[..., 0], left[..., 1], left[..., 2], left[..., 3]
    w2, x2, y2, z2 = right[..., 0], right[..., 1], right[..., 2], right[..., 3]
    return _together(
        w1 * w2 - x1 * x2 - y1 * y2 - z1 * z2,
        w1 * x2 + x1 * w2 + y1 * z2 - z1 * y2,
        w1 * y2 - x1 * z2 + y1 * w2 + z1 * x2,
        w1 * z2 + x1 * y2 - y1 * x2 + z1 * w2,
    )


def _together(*components: Array) -> Array:
    """Return components of one shape side by side in a last dimension (a plain `np.stack`)."""
    whole = np.empty((*components[0].shape, len(components)))
    for k, component in enumerate(components):
        whole[..., k] = component
    return whole


def conjugate(quaternion: Array) -> Array:
    """Return the inverse of unit quaternions."""
    return np.asarray(quaternion * np.array([1.0, -1.0, -1.0, -1.0]))


def rotate(quaternion: Array, vector: Array) -> Array:
    """Rotate (…, 3) vectors by (…, 4) unit quaternions: sensor to earth for an orientation."""
    axis = quaternion[..., 1:]
    twice = 2.0 * cross(axis, vector)
    return np.asarray(vector + quaternion[..., :1] * twice + cross(axis, twice))


def rotation_vector(quaternion: Array) -> Array:
    """Return rotation vectors (…, 3) in radians, each of length at most π."""
    vector = quaternion[..., 1:] * np.where(quaternion[..., :1] < 0, -1.0, 1.0)
    sine = np.linalg.norm(vector, axis=-1, keepdims=True)
    half = np.arctan2(sine, np.abs(quaternion[..., :1]))
    with np.errstate(invalid="ignore", divide="ignore"):
        factor = np.where(sine > 1e-12, 2.0 * half / sine, 2.0)
    return np.asarray(vector * factor)


def about_axis(axis: Array, angle_rad: Array) -> Array:
    """Return rotations by `angle_rad` (…,) about one unit `axis` (3,)."""
    half = np.asarray(angle_rad)[..., None] / 2
    return np.concatenate([np.cos(half), np.sin(half) * axis], axis=-1)


def angle_between(first: Array, second: Array) -> Array:
    """Return the angle in degrees of the rotation that takes `first` to `second`."""
    between = rotation_vector(multiply(conjugate(first), second))
    return np.asarray(np.degrees(np.linalg.norm(between, axis=-1)))


def body_rate(quaternion: Array, rate_hz: float) -> Array:
    """Return the angular velocity in the body's own frame, rad/s, by central differences.

    The rotation from sample k − 1 to k + 1 over its two intervals; one-sided at the two ends. A
    sample beside a gap is NaN. For a constant angular velocity below π/2 rad a sample it is exact.
    """
    if quaternion.shape[0] < 2:
        return np.full((quaternion.shape[0], 3), np.nan)
    before = np.concatenate([quaternion[:1], quaternion[:-1]])
    after = np.concatenate([quaternion[1:], quaternion[-1:]])
    steps = np.full((quaternion.shape[0], 1), 2.0)
    steps[[0, -1]] = 1.0
    return np.asarray(rotation_vector(multiply(conjugate(before), after)) * rate_hz / steps)
