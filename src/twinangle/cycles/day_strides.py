"""The strides of a day or a week, gathered from the cycles of its stretches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from twinangle.cycles.enough import NOT_THE_MOVEMENT, reason_kind
from twinangle.signals.recording import Array, CycleSet


@dataclass(frozen=True, slots=True, eq=False)
class Strides:
    """The strides of a long recording, in order of time, (m,) each.

    Those that are kept, and of a walk those that were left out too: it goes on through them.

    Attributes
    ----------
    start_s, end_s : ndarray
        On the wearable's clock.
    range_deg, mean_deg : ndarray
        Range of motion and mean of each one's curve.
    with_reference : ndarray of bool
        Whether each was held against the reference.
    kept : ndarray of bool
        Whether each is kept; the others tell alone that the walk goes on.
    """

    start_s: Array
    end_s: Array
    range_deg: Array
    mean_deg: Array
    with_reference: NDArray[np.bool_]
    kept: NDArray[np.bool_]

    def chosen(self, rows: NDArray[np.bool_]) -> Strides:
        """Return some of them."""
        return Strides(**{item.name: getattr(self, item.name)[rows] for item in fields(self)})

    @property
    def duration_s(self) -> Array:
        """Duration of each."""
        return self.end_s - self.start_s

    @property
    def per_minute(self) -> Array:
        """Strides a minute, of each."""
        return 60.0 / self.duration_s


def strides_of(cycles: CycleSet, compared: Array) -> Strides:
    """Return the strides of one stretch: those kept, and those left out within a walk.

    Parameters
    ----------
    cycles : CycleSet
        Found and judged by the wearable alone.
    compared : ndarray
        When those of them begin that were held against the reference.

    Returns
    -------
    Strides
        Without what was left out as no part of a walk: isolated movement, calibration, what is
        masked or lies in a gap.
    """
    kept = cycles.kept
    rows = kept | _walking(cycles)
    curves = cycles.wearable_deg[rows]
    return Strides(
        start_s=cycles.start_s[rows],
        end_s=cycles.end_s[rows],
        range_deg=np.ptp(curves, axis=1) if curves.size else np.zeros(0),
        mean_deg=curves.mean(axis=1) if curves.size else np.zeros(0),
        with_reference=kept[rows] & np.isin(cycles.start_s[rows], compared),
        kept=kept[rows],
    )


def _walking(cycles: CycleSet) -> NDArray[np.bool_]:
    """Return which cycles are part of a walk as it is numbered, kept or not."""
    kinds = [reason_kind(text) not in NOT_THE_MOVEMENT for text in cycles.reason]
    return np.array(kinds, dtype=bool) & (cycles.bout > 0 if cycles.bout.size else True)


def joined(parts: Sequence[Strides]) -> Strides:
    """Return the strides of several stretches as one, in the order given."""
    names = [item.name for item in fields(Strides)]
    return Strides(
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    )
