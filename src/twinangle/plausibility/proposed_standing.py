"""A stretch in which a person may have stood still, to be looked at before it is taken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from twinangle.plausibility.stood_still import MOST_MOVING_DEG_S, quietest
from twinangle.signals.recording import Array, Interval, SensorPair

LENGTHS_S = (5.0, 4.0, 3.0, 2.0, 1.0)  # the longest that is quiet is proposed
Origin = Literal["given", "proposed", "none"]


@dataclass(frozen=True, slots=True)
class ProposedStanding:
    """Neutral standing of one recording, as the trials table gives it or as it is proposed.

    Attributes
    ----------
    label : str
        The recording: who, under which condition.
    row : int
        Of the trials table, the header being row 1.
    origin : {"given", "proposed", "none"}
        Whether the table gives it; "none" where the recording holds no quiet stretch.
    stretch : Interval or None
        In seconds on the wearable's clock.
    moving_deg_s : float
        Root mean square of the faster sensor's rate about its mean within it, degrees a second;
        NaN where it was not measured.
    time_s : ndarray
        Of the samples, seconds on the wearable's clock.
    rates_deg_s : ndarray, (n, 2)
        How fast the proximal and the distal sensor turn, degrees a second, without a sign.
    """

    label: str
    row: int
    origin: Origin
    stretch: Interval | None
    moving_deg_s: float
    time_s: Array
    rates_deg_s: Array

    def __repr__(self) -> str:
        """Say in a line what is proposed."""
        if self.stretch is None:
            return f"<{self.label} (row {self.row}): no quiet stretch of standing found>"
        times = f"{self.stretch.start_s:g} to {self.stretch.end_s:g} s"
        return f"<{self.label} (row {self.row}): standing {self.origin}, {times}>"


def standing_proposed(
    pair: SensorPair, label: str, row: int, given: Interval | None = None
) -> ProposedStanding:
    """Propose the quietest stretch of a recording in which both sensors stand upright.

    Of 5, 4, 3, 2 and 1 s, the longest for which √mean|ω − mean ω|² of both sensors stays within
    8 °/s and both hold their usual vertical within 40°, so that neither sitting nor lying will do.
    That the knee was in the position that is called 0°, no sensor can tell.

    Parameters
    ----------
    pair : SensorPair
        Gaps are NaN.
    label, row : str, int
        Of the recording, and of its row in the trials table.
    given : Interval, optional
        What the table holds already; then nothing is proposed.

    Returns
    -------
    ProposedStanding
    """
    time_s = pair.distal.time_s
    rates = np.column_stack(
        [np.degrees(np.linalg.norm(s.gyroscope, axis=1)) for s in (pair.proximal, pair.distal)]
    )
    if given is not None:
        return ProposedStanding(label, row, "given", given, float("nan"), time_s, rates)
    for length_s in LENGTHS_S:
        found = quietest(pair, length_s)
        if found is not None and found[1] <= MOST_MOVING_DEG_S:
            part, moving = found
            stretch = Interval(round(part.start_s, 2), round(part.end_s, 2))
            return ProposedStanding(label, row, "proposed", stretch, moving, time_s, rates)
    return ProposedStanding(label, row, "none", None, float("nan"), time_s, rates)
