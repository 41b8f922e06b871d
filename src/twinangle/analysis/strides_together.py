"""Whether the strides of two instruments vary together, as those of one joint do."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from twinangle.notices import Notice
from twinangle.signals.recording import Array, CycleSet
from twinangle.thresholds import told_apart

KIND = "strides-apart"
LEAST = 0.5
"""Correlation below which is warned. Of one joint: 0.84 and more on open pairs with ten neighbours
and more (1 degree of reading error), 0.9 and more on simulated walks; of the two legs of a
simulated walk 0.25 and less. Own rule, see docs/background/plausibility.md."""
FEWEST = 10  # pairs of neighbouring cycles


def changes(curves: Array, kept: NDArray[np.bool_]) -> Array:
    """Return what changes from each cycle to the next, their mean taken off, (n, points).

    Parameters
    ----------
    curves : (cycles, points) array
    kept : (cycles,) array of bool
        Neighbours that are both kept, and known throughout, count.
    """
    whole = kept & np.isfinite(curves).all(axis=1)
    found = np.diff(curves, axis=0)[whole[1:] & whole[:-1]]
    return np.asarray(found - found.mean(axis=0)) if found.size else found


def correlation_of_changes(cycles: CycleSet) -> tuple[float, int]:
    """Return how the changes from cycle to cycle correlate between the instruments.

    r = Σ u v / √(Σ u² Σ v²) over all neighbours and points, with u and v what changes in the
    wearable's and the reference's curve from one cycle to the next, each less its mean. What is the
    same in every cycle (offset, soft tissue, a delay) and what drifts slowly is not in it: a joint
    that is the same changes alike. Own statistic.

    Parameters
    ----------
    cycles : CycleSet
        With a reference.

    Returns
    -------
    float
        NaN with fewer than 10 pairs of neighbours, or where nothing changes.
    int
        Pairs of neighbours.
    """
    assert cycles.reference_deg is not None
    both = cycles.kept & np.isfinite(cycles.reference_deg).all(axis=1)
    both &= np.isfinite(cycles.wearable_deg).all(axis=1)
    u, v = changes(cycles.wearable_deg, both), changes(cycles.reference_deg, both)
    return (correlated(u, v) if len(u) >= FEWEST else float("nan")), len(u)


def correlated(u: Array, v: Array) -> float:
    """Return Σ u v / √(Σ u² Σ v²); NaN where either is 0 throughout."""
    size = float(np.sqrt(np.sum(u**2) * np.sum(v**2)))
    return float(np.sum(u * v)) / size if size > 0 else float("nan")


def strides_apart(cycles: CycleSet) -> tuple[str, ...]:
    """Warn of a pair of curves that fit in the mean, and do not change alike from cycle to cycle.

    The reference of the other leg does, which a lag half a stride off makes fit in the mean.

    Parameters
    ----------
    cycles : CycleSet
        With a reference.

    Returns
    -------
    tuple of str
        A grave warning or nothing.
    """
    found, n = correlation_of_changes(cycles)
    if not found < LEAST:
        return ()
    shown, limit = told_apart(found, LEAST, 2)
    text = (
        "the instruments' strides do not vary together: what changes from one to the next "
        f"correlates at {shown} only (below {limit}, over {n} pairs of neighbours; of one joint it "
        "is 0.8 and more). See first whether left and right were exchanged in one instrument: a "
        "lag half a stride off makes the mean curves fit all the same, and every number here would "
        "be of two joints. The reference of another person or trial, or a lag a whole stride off, "
        "do the same. If it is none of these, an instrument errs from stride to stride by more "
        "than the strides vary, and SDs and limits are of that error."
    )
    return (Notice(text, KIND, "grave", -found),)
