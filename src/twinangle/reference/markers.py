"""Optical markers: segment poses by least squares, anatomical frames, and the sagittal angle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.signals.recording import Array

# Common practice, no source.
# A cluster whose second direction is this much smaller than its first is as good as a line.
LEAST_FLATNESS = 0.05
SPLINE_SUPPORT = 10  # samples on either side of a gap that the spline rests on


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Pose of a rigid cluster over time, from its reference shape to the laboratory.

    A position in the shape's coordinates is carried over by ``rotation @ p + translation``.
    """

    rotation: Array  # (n, 3, 3); NaN where fewer than three markers are seen
    translation: Array  # (n, 3)
    residual: Array  # (n,) root mean square distance of the seen markers, in the markers' unit
    n_seen: NDArray[np.int64]  # (n,)


def fit_pose(shape: Array, markers: Array) -> Pose:
    """Fit a rigid body to marker positions by least squares.

    Parameters
    ----------
    shape : ndarray, shape (m, 3)
        Positions of the markers on the body, in any frame of its own.
    markers : ndarray, shape (n, m, 3)
        Measured positions; a missing marker is NaN.

    Returns
    -------
    Pose
        Frames with fewer than three markers, or with those in a line, are NaN.

    Raises
    ------
    ValueError
        If the shapes do not fit, or the reference shape has fewer than three markers or all of
        them in a line.

    Notes
    -----
    Minimises ``sum ||R x_i + d - y_i||²`` over rotations R and translations d [1]_: with the
    singular value decomposition ``P S Q^T`` of ``sum (y_i - ȳ)(x_i - x̄)^T``, ``R = P diag(1, 1,
    det(P Q^T)) Q^T`` and ``d = ȳ - R x̄``.

    References
    ----------
    .. [1] Söderkvist & Wedin (1993). J Biomech 26, 1473-1477.
    """
    shape, markers = np.asarray(shape, float), np.asarray(markers, float)
    if shape.ndim != 2 or shape.shape[1] != 3 or markers.shape[1:] != shape.shape:
        raise ValueError(
            "`shape` must be (m, 3) and `markers` (n, m, 3), got "
            f"{shape.shape} and {markers.shape}."
        )
    if len(shape) < 3 or _in_a_line(shape):
        raise ValueError("`shape` needs at least three markers that are not in a line.")
    seen = np.isfinite(markers).all(axis=2)
    n = len(markers)
    pose = Pose(
        rotation=np.full((n, 3, 3), np.nan),
        translation=np.full((n, 3), np.nan),
        residual=np.full(n, np.nan),
        n_seen=seen.sum(axis=1),
    )
    patterns, which = np.unique(seen, axis=0, return_inverse=True)
    for index, pattern in enumerate(patterns):
        frames = which.ravel() == index
        if pattern.sum() >= 3 and not _in_a_line(shape[pattern]):
            rotation, translation, residual = _fit(shape[pattern], markers[frames][:, pattern])
            pose.rotation[frames] = rotation
            pose.translation[frames] = translation
            pose.residual[frames] = residual
    return pose


def _fit(shape: Array, markers: Array) -> tuple[Array, Array, Array]:
    """Return rotations, translations and residuals of frames that see all markers."""
    centre, centres = shape.mean(axis=0), markers.mean(axis=1)
    body, seen = shape - centre, markers - centres[:, np.newaxis]
    left, _, right = np.linalg.svd(np.einsum("nmi,mj->nij", seen, body))
    flip = np.ones((len(markers), 3))
    flip[:, 2] = np.sign(np.linalg.det(left @ right))
    rotation = (left * flip[:, np.newaxis]) @ right
    distance = seen - np.einsum("nij,mj->nmi", rotation, body)
    residual = np.sqrt(np.mean(np.sum(distance**2, axis=2), axis=1))
    return rotation, centres - rotation @ centre, residual


def _in_a_line(points: Array) -> bool:
    """Tell whether points do not span a plane well enough for a pose."""
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(spread[1] < LEAST_FLATNESS * spread[0])


def mean_shape(markers: Array) -> Array:
    """Return the mean shape of a cluster over frames in which it may move.

    Parameters
    ----------
    markers : ndarray, shape (n, m, 3)
        Frames with a missing marker are left out.

    Returns
    -------
    ndarray, shape (m, 3)
        In the laboratory frame of the first whole frame.

    Raises
    ------
    ValueError
        If no frame is whole.

    Notes
    -----
    Every frame is laid onto the current mean by :func:`fit_pose`, and the mean taken again; two
    rounds, after which the shape changes by less than the square of its residual.
    """
    whole = markers[np.isfinite(markers).all(axis=(1, 2))]
    if not len(whole):
        raise ValueError("`markers` has no frame in which every marker is seen.")
    shape = whole[0]
    for _ in range(2):
        pose = fit_pose(shape, whole)
        local = np.einsum("nji,nmj->nmi", pose.rotation, whole - pose.translation[:, np.newaxis])
        shape = local.mean(axis=0)
    return np.asarray(shape)


def local_position(pose: Pose, point: Array) -> Array:
    """Return the mean position of a laboratory point (n, 3) in a body's own coordinates, (3,).

    Raises
    ------
    ValueError
        If no frame has both the pose and the point.
    """
    local = np.einsum("nji,nj->ni", pose.rotation, point - pose.translation)
    local = local[np.isfinite(local).all(axis=1)]
    if not len(local):
        raise ValueError("no frame has both the pose and the point.")
    return np.asarray(local.mean(axis=0))


def anatomical_axes(*, upper: Array, lower: Array, right: Array) -> Array:
    """Return a segment's anatomical frame as a rotation matrix, columns x, y, z.

    Parameters
    ----------
    upper, lower : ndarray, shape (3,)
        Ends of the segment's long axis.
    right : ndarray, shape (3,)
        A direction to the person's right, such as between the epicondyles.

    Returns
    -------
    ndarray, shape (3, 3)
        y along the segment upwards, x forwards and normal to y and `right`, z to the right.

    Raises
    ------
    ValueError
        If the points coincide, or the direction runs along the segment.

    References
    ----------
    .. [1] Wu & Cavanagh (1995). J Biomech 28, 1257-1261: axes x forwards, y upwards, z right.
    """
    y = upper - lower
    x = np.cross(y, right)
    if np.linalg.norm(x) <= 1e-6 * np.linalg.norm(y) * np.linalg.norm(right):
        raise ValueError("the landmarks do not span a frame: they are in a line or coincide.")
    y, x = y / np.linalg.norm(y), x / np.linalg.norm(x)
    return np.column_stack([x, y, np.cross(x, y)])


def quaternions(pose: Pose, axes: Array) -> Array:
    """Return the anatomical frame's orientation over time, (n, 4), scalar first, NaN in gaps."""
    out = np.full((len(pose.rotation), 4), np.nan)
    known = np.isfinite(pose.residual)
    if known.any():
        out[known] = scipy.spatial.transform.Rotation.from_matrix(
            pose.rotation[known] @ axes
        ).as_quat(scalar_first=True)
    return out


def sagittal_angle(
    *, proximal_upper: Array, proximal_lower: Array, distal_upper: Array, distal_lower: Array
) -> Array:
    """Return the angle from the distal to the proximal segment in one plane, in degrees.

    Parameters
    ----------
    proximal_upper, proximal_lower, distal_upper, distal_lower : ndarray, shape (n, 2)
        Positions forwards and upwards of the markers at the segments' ends.

    Returns
    -------
    ndarray, shape (n,)
        Angle of the proximal segment minus that of the distal one, each from the horizontal to
        the line from lower to upper end, counter-clockwise; -180 to 180. Knee flexion is
        positive for a person who faces the forward axis; elbow flexion is negative.

    References
    ----------
    .. [1] Winter (2009). Biomechanics and motor control of human movement, 4th ed., Wiley,
       ch. 3: knee angle = thigh angle - shank angle.
    """
    thigh, shank = proximal_upper - proximal_lower, distal_upper - distal_lower
    cross = shank[:, 0] * thigh[:, 1] - shank[:, 1] * thigh[:, 0]
    return np.asarray(np.degrees(np.arctan2(cross, (shank * thigh).sum(axis=1))))


def fill_short_gaps(values: Array, longest: int) -> tuple[Array, NDArray[np.bool_]]:
    """Fill gaps of up to `longest` samples by a cubic spline; leave longer ones.

    Parameters
    ----------
    values : ndarray, shape (n, k)
        Rows with any NaN are gaps. Gaps at either end are never filled.
    longest : int
        The longest gap that is bridged, in samples; 0 fills nothing.

    Returns
    -------
    filled : ndarray, shape (n, k)
    was_filled : ndarray of bool, shape (n,)

    Notes
    -----
    Each spline rests on up to ten samples either side of its gap, and on four at least.
    """
    filled = np.array(values, dtype=np.float64)
    missing: NDArray[np.bool_] = np.asarray(np.isnan(filled).any(axis=1))
    was_filled = np.zeros(len(filled), dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], missing.astype(np.int8), [0]))))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if end - start > longest or start == 0 or end == len(filled):
            continue
        around = np.arange(max(0, start - SPLINE_SUPPORT), min(len(filled), end + SPLINE_SUPPORT))
        known = around[~missing[around]]
        if known.size >= 4:
            filled[start:end] = scipy.interpolate.CubicSpline(known, values[known])(
                np.arange(start, end)
            )
            was_filled[start:end] = True
    return filled, was_filled


@dataclass(frozen=True, slots=True)
class Landmarks:
    """Names of one segment's markers: its cluster and its anatomical landmarks.

    `upper` is the landmark at the segment's upper end; None takes the joint's centre, midway
    between the proximal segment's `lateral` and `medial`.
    """

    markers: tuple[str, ...]
    lateral: str
    medial: str
    upper: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class SegmentMotion:
    """Orientation of one segment's anatomical frame, and how well its cluster gave it."""

    quaternion: Array  # (n, 4), scalar first
    residual: Array  # (n,) in the markers' unit
    n_incomplete: int  # frames solved from fewer markers than the cluster has
    n_lost: int  # frames without a pose


def segment_motions(
    positions: Mapping[str, Array],
    proximal: Landmarks,
    distal: Landmarks,
    *,
    calibration: NDArray[np.bool_],
    side: str,
) -> tuple[SegmentMotion, SegmentMotion]:
    """Return the motion of the two segments' anatomical frames.

    Parameters
    ----------
    positions : mapping of str to ndarray, shape (n, 3)
        Each marker's position, NaN where missing.
    proximal, distal : Landmarks
    calibration : ndarray of bool, shape (n,)
        Frames in which the landmarks are seen; the clusters may move in them.
    side : {"left", "right"}
        Which limb it is: the lateral landmark is to the person's right on the right limb.

    Returns
    -------
    proximal, distal : SegmentMotion

    Raises
    ------
    ValueError
        If the calibration frames never show a landmark with its whole cluster, a cluster is a
        line, or the side is neither left nor right.
    """
    if side not in ("left", "right"):
        raise ValueError(f"`side` must be 'left' or 'right', got {side!r}.")
    centre = (positions[proximal.lateral] + positions[proximal.medial]) / 2
    motions = []
    for segment in (proximal, distal):
        cluster = np.stack([positions[name] for name in segment.markers], axis=1)
        shape = mean_shape(cluster[calibration])
        still = fit_pose(shape, cluster[calibration])

        def local(point: Array, still: Pose = still) -> Array:
            return local_position(still, point[calibration])

        lateral, medial = local(positions[segment.lateral]), local(positions[segment.medial])
        upper = centre if segment.upper is None else positions[segment.upper]
        axes = anatomical_axes(
            upper=local(upper),
            lower=(lateral + medial) / 2,
            right=lateral - medial if side == "right" else medial - lateral,
        )
        pose = fit_pose(shape, cluster)
        lost = np.isnan(pose.residual)
        motions.append(
            SegmentMotion(
                quaternion=quaternions(pose, axes),
                residual=pose.residual,
                n_incomplete=int(((pose.n_seen < len(segment.markers)) & ~lost).sum()),
                n_lost=int(lost.sum()),
            )
        )
    return motions[0], motions[1]
