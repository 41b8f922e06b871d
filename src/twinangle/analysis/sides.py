"""Whether the two legs or arms of a person differ so much that they form two clouds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from twinangle.agreement._result import counted
from twinangle.thresholds import told_apart

if TYPE_CHECKING:
    import pandas as pd

_TWO_PEAKS = 2.0
"""Distance of two normal groups of equal size and spread, in SDs, from which they have two peaks:
the second derivative of their sum at the middle changes its sign there."""


def sides_note(points: pd.DataFrame) -> str:
    """Return a sentence where the sides of a person are two clouds; empty otherwise.

    Parameters
    ----------
    points : DataFrame
        One row a cycle: participant, side ("left" or "right"), wearable and reference.

    Returns
    -------
    str

    Notes
    -----
    The distance is the root mean square over participants of the difference between the mean
    differences (wearable minus reference) of their two sides; it is held against the SD of a single
    difference within a side, the mean variance of all sides with two cycles or more. Own rule.
    """
    difference = points["wearable"] - points["reference"]
    of_side = difference.groupby([points["participant"], points["side"]])
    means = of_side.mean().unstack()  # noqa: PD010
    within = float(np.sqrt(of_side.var(ddof=1).mean()))
    if not {"left", "right"} <= set(means.columns):
        return ""
    apart = (means["left"] - means["right"]).dropna().to_numpy()
    distance = float(np.sqrt(np.mean(apart**2))) if apart.size else float("nan")
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
