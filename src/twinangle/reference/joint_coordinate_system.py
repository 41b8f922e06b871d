"""The joint coordinate system: three angles between two segment frames."""

from __future__ import annotations

import numpy as np
import scipy

from twinangle.signals.recording import Array

AXES = ("x", "y", "z")


def joint_coordinate_angles(
    proximal: Array, distal: Array, *, flexion_axis: str = "z", long_axis: str = "y"
) -> Array:
    """Return the three angles of the joint coordinate system, in degrees.

    Parameters
    ----------
    proximal, distal : ndarray, shape (n, 4)
        Unit quaternions of the segment frames, scalar first, segment to laboratory; NaN is a gap.
    flexion_axis, long_axis : {"x", "y", "z"}
        The frames' mediolateral axis, and the one along the segment.

    Returns
    -------
    ndarray, shape (n, 3)
        Flexion about the proximal segment's mediolateral axis (-180 to 180), ab/adduction about
        the floating axis (-90 to 90), rotation about the distal segment's long axis (-180 to
        180); right-handed turns of the distal segment are positive.

    Raises
    ------
    ValueError
        If the two axes are the same, or are not called x, y or z.

    Notes
    -----
    The distal frame seen from the proximal one is ``R = R_p^T R_d = F(flexion) A(abduction)
    L(rotation)``, elementary rotations about the flexion axis, the remaining axis and the long
    axis. The floating axis, normal to the proximal flexion axis and the distal long axis, is the
    remaining axis after the first turn, which makes these the angles of [1]_.

    References
    ----------
    .. [1] Grood & Suntay (1983). J Biomech Eng 105, 136-144.
    """
    if {flexion_axis, long_axis} - set(AXES) or flexion_axis == long_axis:
        raise ValueError(
            "`flexion_axis` and `long_axis` must be two of 'x', 'y' and 'z', got "
            f"{flexion_axis!r} and {long_axis!r}."
        )
    floating = next(iter(set(AXES) - {flexion_axis, long_axis}))
    present = np.isfinite(proximal).all(axis=1) & np.isfinite(distal).all(axis=1)
    angles = np.full((len(proximal), 3), np.nan)
    if present.any():
        first = scipy.spatial.transform.Rotation.from_quat(proximal[present], scalar_first=True)
        second = scipy.spatial.transform.Rotation.from_quat(distal[present], scalar_first=True)
        sequence = (flexion_axis + floating + long_axis).upper()  # capitals: axes that turn along
        angles[present] = (first.inv() * second).as_euler(sequence, degrees=True)
    return angles
