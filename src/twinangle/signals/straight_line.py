"""A goniometer's calibration: the straight line from its reading to degrees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from twinangle.checks import as_float_array, require_finite


@dataclass(frozen=True, slots=True)
class Calibration:
    """Result of :func:`fit_calibration`: ``angle = gain * value + offset``."""

    gain: float  # degrees per unit of the reading
    offset: float  # degrees
    residual_sd_deg: float  # n - 2 degrees of freedom
    largest_residual_deg: float  # the one of largest size, with its sign
    n_points: int

    def summary(self) -> str:
        """Return one line for a terminal or a report."""
        return (
            f"gain {self.gain:.6g}, offset {self.offset:.4g}°, fitted to {self.n_points} points; "
            f"residual SD {self.residual_sd_deg:.2g}°, largest {self.largest_residual_deg:+.2g}°"
        )


def fit_calibration(values: ArrayLike, angles_deg: ArrayLike) -> Calibration:
    """Fit a goniometer's readings at known angles by least squares.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        Readings, in volts or whatever the instrument gives.
    angles_deg : array_like of float, shape (n,)
        The angles they were taken at, in degrees.

    Returns
    -------
    Calibration
        Of the line of angles on readings, and how far the points lie from it.

    Raises
    ------
    ValueError
        If there are fewer than three points, the shapes differ, a value is missing, or all
        readings are the same.

    Notes
    -----
    Ordinary least squares, the angles taken as exact or their errors as independent of the
    reading: ``gain = S_xy / S_xx`` on centred values, ``offset = ȳ - gain x̄`` (Draper & Smith
    1998, Applied regression analysis, 3rd ed., Wiley, ch. 1).
    """
    x = as_float_array(values, "values", ndim=1)
    y = as_float_array(angles_deg, "angles_deg", ndim=1)
    require_finite(x, "values")
    require_finite(y, "angles_deg")
    if x.size != y.size or x.size < 3:
        raise ValueError(
            f"a calibration needs at least 3 pairs of reading and angle, got {x.size} readings "
            f"and {y.size} angles."
        )
    spread = x - x.mean()
    if not spread.any():
        raise ValueError(f"all readings are {x[0]:g}: a line needs readings that differ.")
    gain = float(spread @ (y - y.mean()) / (spread @ spread))
    offset = float(y.mean() - gain * x.mean())
    residual = y - y.mean() - gain * spread
    return Calibration(
        gain=gain,
        offset=offset,
        residual_sd_deg=float(np.sqrt(residual @ residual / (x.size - 2))),
        largest_residual_deg=float(residual[np.argmax(np.abs(residual))]),
        n_points=x.size,
    )
