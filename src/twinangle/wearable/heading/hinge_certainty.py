"""How well a movement determines the hinge axis that both gyroscopes fit best.

Where both segments turn in one plane and in proportion, ``ω₁ = c ω₂`` along the common axis, any
two axes tilted by α and β from it with ``|c| sin α = sin β`` fit as well as the true ones: the
fit then returns one of them by chance.
"""

from __future__ import annotations

import numpy as np

from twinangle.signals.recording import Array
from twinangle.wearable.heading.hinge import HingeAxes, axis_frames, moving_samples, refined

AWAY_DEG = 10.0  # as far as two estimates of the axis may differ before a warning
_DIRECTIONS, _AROUND = 12, 6
_START_RAD = 0.2  # the proximal axis is sought from the best one and from a ring about it
_STEPS = 40
_LEAST_COST = 1e-12  # (rad/s)²: of signals without noise, where every fit is perfect


def certainty(proximal_rad_s: Array, distal_rad_s: Array, axes: HingeAxes) -> float:
    """Return how much worse than the best the best axis 10° away fits, a ratio of costs.

    The distal axis is turned by 10° towards each of twelve directions and held there, the proximal
    axis is fitted anew; the least cost (soft L1, that of the fit) over that of the best axes. Near
    1 an axis 10° off explains the movement as well: it does not determine the axis. A ratio below
    1 says that the fit has stopped on the way along a valley of equal cost.

    Parameters
    ----------
    proximal_rad_s, distal_rad_s : (n, 3) array
        Gyroscopes of the two sensors, sample for sample; NaN rows are left out.
    axes : HingeAxes
        What :func:`~twinangle.wearable.heading.hinge.hinge_axes` found in them.

    Returns
    -------
    float
        Of squares of rad/s, without unit.

    Raises
    ------
    AngleError
        If there are too few samples in which either sensor turns.

    Notes
    -----
    A cost profile; the 10° and the limits on the ratio are own choices, no source.
    """
    one, two = moving_samples(proximal_rad_s, distal_rad_s)
    best = axis_frames(np.stack([axes.proximal, axes.distal])[None])
    ring = _ring(best[0, 1], np.radians(AWAY_DEG), _DIRECTIONS)
    near = np.concatenate([best[0, :1, 2], _ring(best[0, 0], _START_RAD, _AROUND)])
    pairs = np.stack([np.tile(near, (len(ring), 1)), np.repeat(ring, len(near), axis=0)], axis=1)
    away = refined(one, two, axis_frames(pairs), _STEPS, slice(2))[1].min()
    least = refined(one, two, best, 0)[1][0]
    return float((away + _LEAST_COST) / (least + _LEAST_COST))


def _ring(frame: Array, away_rad: float, count: int) -> Array:
    """Return `count` unit vectors at one angle from the last of a frame's vectors, (count, 3)."""
    turn = 2.0 * np.pi * np.arange(count)[:, None] / count
    side = np.cos(turn) * frame[0] + np.sin(turn) * frame[1]
    return np.asarray(np.cos(away_rad) * frame[2] + np.sin(away_rad) * side)
