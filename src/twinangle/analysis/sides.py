"""Whether the two legs or arms of a person differ so much that they form two clouds."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from twinangle.agreement._components import variance_components
from twinangle.agreement._result import counted
from twinangle.signals.recording import Array
from twinangle.thresholds import told_apart

_TWO_PEAKS = 2.0
"""Distance of two normal groups of equal size and spread, in SDs, from which they have two peaks:
the second derivative of their sum at the middle changes its sign there."""


def sides_note(participant: Iterable[str], side: Iterable[str], difference: Array) -> str:
    """Return a sentence where the sides of a person are two clouds; empty otherwise.

    Parameters
    ----------
    participant, side : iterable of str, length n
        Whose each cycle is, and of which side ("left" or "right").
    difference : ndarray, shape (n,)
        Wearable minus reference, one a cycle.

    Returns
    -------
    str

    Notes
    -----
    The distance is the root mean square over participants of the difference between the mean
    differences (wearable minus reference) of their two sides; it is held against the SD of a single
    difference within a side, the mean variance of all sides with two cycles or more. Own rule.
    """
    of_side = [f"{which} {person}" for person, which in zip(participant, side, strict=True)]
    parts = variance_components(difference, of_side)
    means = dict(zip(parts.labels, parts.means.tolist(), strict=True))
    pairs = [(f"left {person}", f"right {person}") for person in dict.fromkeys(participant)]
    apart = np.array(
        [means[one] - means[other] for one, other in pairs if one in means and other in means]
    )
    repeated = parts.counts > 1
    if not apart.size or not repeated.any():
        return ""
    within = float(np.sqrt(parts.variances[repeated].mean()))
    distance = float(np.sqrt(np.mean(apart**2)))
    if not distance > _TWO_PEAKS * within:
        return ""
    shown, limit = told_apart(distance, _TWO_PEAKS * within, 2)
    return (
        f"Left and right of one person differ by {shown}° (root mean square over "
        f"{counted(apart.size, 'participant')} with both sides), more than {limit}°, twice the SD "
        "of a single difference within a side: the points of a person form two clouds. They count "
        "as one person, and the limits hold this as variation within people; compare the sides, "
        "their zeros and mountings, before the limits are used."
    )
