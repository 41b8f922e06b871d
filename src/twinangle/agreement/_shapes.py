"""What a difference of mean curves has of a delay and of another size, and what holds of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.agreement._input import Floats

_WINDOW = 0.25  # share of the cycle left out in turn: as long as a stance or a swing bump is
_STEPS = 16  # of such windows, evenly over the cycle
_HARMONICS = 6  # of the cycle, left out in turn
_LEAST = 0.05  # share of the knowledge of size or delay that must remain
_ROUNDS = 8  # in which the middle curve is found
_SINGULAR = 1e-9
_LEAST_SHARE = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Shapes:
    """The shapes that a difference of size and a delay give a difference of mean curves.

    Attributes
    ----------
    size, late : ndarray, shape (n_points,)
        The reference's demeaned mean curve, read half the shift late, and its slope in units of
        the curve a point. A test curve of g times the size and s points late differs from the
        reference by (g - 1) size - s (g + 1)/2 late, to third order in s.
    basis : ndarray, shape (2, n_points)
        Both made orthogonal symmetrically (neither comes first), of mean square 1.
    squares : ndarray, shape (2,)
        Mean squares of `size` and `late`.
    maps : ndarray, shape (n_views, 2, n_points)
        What takes a difference curve to its multiples of `size` and `late`, by least squares with
        an intercept: first over the whole cycle, then each of the two alone, then without each
        window of the cycle, then without each harmonic.
    usable : ndarray of bool, shape (n_views, 2)
        Where enough is left to tell the multiple.
    """

    size: Floats
    late: Floats
    basis: Floats
    squares: Floats
    maps: Floats
    usable: NDArray[np.bool_]

    def views(self, difference: Floats) -> Floats:
        """Return both multiples in every view, NaN where not usable, (..., n_views, 2)."""
        seen = np.einsum("...p,vkp->...vk", difference, self.maps)
        return np.where(self.usable, seen, np.nan)


def shapes_of(test: Floats, reference: Floats) -> Shapes:
    """Return the shapes for two mean curves; of mean square 0 for a constant reference."""
    difference = test - reference
    difference = difference - difference.mean()
    curve = Repeating(reference)
    limit = (reference.size - 1) // 8  # a larger shift is another curve, not a delay
    shift, alone = 0.0, np.zeros(2)
    for _ in range(_ROUNDS):
        shapes = np.stack([curve.late(shift / 2), curve.slope(shift / 2)])
        gram = shapes @ shapes.T
        if not gram[0, 0] > 0:
            break
        alone = np.linalg.lstsq(gram, shapes @ difference, rcond=_SINGULAR)[0]
        shift = float(np.clip(delay(alone[0], alone[1]), -limit, limit))
    return _with_views(shapes[0], shapes[1])


def delay(size: Floats | float, late: Floats | float) -> Floats:
    """Return the delay in points for the multiples of both shapes; no gain below -1/2 counts."""
    found: Floats = -np.asarray(late) / np.maximum(1 + np.asarray(size) / 2, _LEAST_SHARE)
    return found


def _with_views(size: Floats, late: Floats) -> Shapes:
    n = size.size
    both = np.stack([size, late])
    gram = both @ both.T / n
    if not gram[0, 0] > 0:
        none = np.zeros((1, 2, n))
        return Shapes(size, late, none[0], np.diag(gram), none, np.ones((1, 2), dtype=bool))
    value, vector = np.linalg.eigh(gram)
    root = np.where(value > _SINGULAR * value[-1], 1 / np.sqrt(np.maximum(value, 1e-300)), 0.0)
    basis = (vector * root) @ vector.T @ both
    maps, known = zip(*_views(size, late), strict=True)
    kept = np.array(known) / np.array(known)[0] >= _LEAST
    return Shapes(size, late, basis, np.diag(gram).copy(), np.array(maps), kept)


def _views(size: Floats, late: Floats) -> Iterator[tuple[Floats, Floats]]:
    """Yield each view's map, and how much it knows of both multiples (1 over their variance)."""
    n = size.size
    phase = np.arange(n) / (n - 1)
    columns = np.column_stack([np.ones(n), size, late])
    whole = np.ones(n, dtype=bool)
    yield _least_squares(columns, whole)
    single = [_least_squares(columns[:, [0, k]], whole) for k in (1, 2)]
    yield np.stack([one[0][0] for one in single]), np.array([one[1][0] for one in single])
    for k in range(_STEPS):
        yield _least_squares(columns, np.mod(phase - k / _STEPS, 1) >= _WINDOW)
    for harmonic in range(1, _HARMONICS + 1):
        turn = 2 * np.pi * harmonic * phase[:, None]
        yield _least_squares(np.hstack([columns, np.cos(turn), np.sin(turn)]), whole)


def _least_squares(columns: Floats, kept: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return the map to the second (and third) coefficient, and 1 over their variances."""
    scale = np.sqrt(np.mean(columns**2, axis=0))
    inverse = np.linalg.pinv((columns / scale)[kept], rcond=1e-7)
    wanted = slice(1, min(columns.shape[1], 3))
    rows = np.zeros((columns.shape[1], columns.shape[0]))
    rows[:, kept] = inverse / scale[:, None]
    rows = rows[wanted]
    return rows, 1 / np.maximum((rows**2).sum(axis=1), 1e-300)


class Repeating:
    """A curve that can be read between its points, demeaned.

    The cycle repeats; what it fails to close by is taken as a steady drift.
    """

    def __init__(self, curve: Floats) -> None:
        self._grid = np.arange(curve.size, dtype=np.float64)
        self._drift = (curve[-1] - curve[0]) / self._grid[-1]
        closed = curve - self._drift * self._grid
        closed[-1] = closed[0]
        self._spline = scipy.interpolate.CubicSpline(self._grid, closed, bc_type="periodic")

    def late(self, shift: float) -> Floats:
        """Return the curve late by `shift` points."""
        where = self._grid - shift
        moved: Floats = self._spline(where) + self._drift * where
        return np.asarray(moved - moved.mean())

    def slope(self, shift: float) -> Floats:
        """Return the slope of the curve late by `shift` points, a point."""
        found: Floats = self._spline(self._grid - shift, 1)
        return np.asarray(found - found.mean())
