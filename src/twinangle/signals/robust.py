"""A standard deviation that single outliers do not move."""

from __future__ import annotations

import numpy as np

from twinangle.signals.recording import Array

MAD_TO_SD = 1.4826  # of a normal distribution, 1/Φ⁻¹(3/4)


def robust_sd(values: Array, about: float | None = None) -> float:
    """Return 1.4826 times the median absolute deviation.

    Parameters
    ----------
    values : ndarray
        Finite numbers, any shape.
    about : float or None
        Where the deviations are taken from; None: the values' median.

    Returns
    -------
    float
        In the unit of the values; the SD where they are normal about that point.

    Notes
    -----
    `scipy.stats.median_abs_deviation` with ``scale="normal"`` is the same about the median, but for
    the constant's further digits.
    """
    middle = float(np.median(values)) if about is None else about
    return MAD_TO_SD * float(np.median(np.abs(values - middle)))
