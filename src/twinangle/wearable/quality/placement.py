"""Whether the distal segment moves as one does: weak evidence, and all that orientations have.

Lever arms say more, where raw signals are there: :mod:`twinangle.plausibility.order`.
"""

from __future__ import annotations

import numpy as np

from twinangle.notices import Notice
from twinangle.signals.recording import Array
from twinangle.thresholds import told_apart

SLOWER_SHARE = 0.8  # a shank or forearm in motion turns faster than this share of the other


def slow_distal_warning(rates_rad_s: tuple[Array, Array], joint: str) -> tuple[str, ...]:
    """Warn when the distal segment turns less than the proximal one: weak evidence of a swap."""
    proximal, distal = (
        float(np.degrees(np.sqrt(np.nanmean(np.sum(rate**2, axis=1))))) for rate in rates_rad_s
    )
    if distal >= SLOWER_SHARE * proximal:
        return ()
    slower, faster = told_apart(distal, proximal, 0)
    warning = (
        f"the distal sensor turns more slowly ({slower} °/s RMS) than the proximal one "
        f"({faster} °/s), unlike a {joint} in walking: check that [wearable.proximal] and "
        "[wearable.distal] are not swapped in the study file."
    )
    return (Notice(warning, "sensors-swapped", size=proximal - distal),)
