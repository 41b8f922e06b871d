"""What is asked of a recording that was looked at: another clock, and the correlation as drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import scipy

from twinangle.clocks import align, manual, synchronise
from twinangle.cycles import recut
from twinangle.errors import SynchronisationError, TwinangleError
from twinangle.signals.recording import Array, CycleSet, PairedAngles, Synchronisation

if TYPE_CHECKING:  # which looks near a lag itself
    from twinangle.review.look import Look

NEAR_S = 0.3  # either side of a lag that was chosen, for its fraction of a sample and the drift
POINTS = 1500  # of the correlation over lags, as drawn
PEAKS = 6


def clock_near(look: Look, lag_s: float, *, drift: bool) -> Synchronisation | None:
    """Return the clock that fits best near a lag; None where none does.

    Parameters
    ----------
    look : Look
        The recording.
    lag_s : float
        Where to look, within `NEAR_S`: below half a stride, so that the stride stays.
    drift : bool
        Whether the clocks may run at unlike speeds.
    """
    if look.wearable is None or look.reference is None:
        return None
    try:
        return synchronise(
            look.wearable,
            look.reference,
            max_lag_s=NEAR_S,
            expected_lag_s=lag_s,
            drift=drift,
            refuse=False,
        )
    except SynchronisationError:
        return None


def paired_at(look: Look, lag_s: float, drift_ppm: float) -> PairedAngles | None:
    """Return both angles with the reference placed by a lag and a drift; None without both.

    Raises
    ------
    ValueError
        If lag or drift is no clock's.
    """
    if look.wearable is None or look.reference is None:
        return None
    return align(look.wearable, look.reference, manual(lag_s, drift_ppm))


def cycles_at(look: Look, paired: PairedAngles) -> CycleSet | None:
    """Return the cycles with the reference's curves as placed; None where too few have both."""
    if look.cycles is None:
        return None
    try:
        return recut(look.cycles, paired)
    except TwinangleError:
        return None


def peaks_of(look: Look) -> tuple[tuple[float, float], ...]:
    """Return the highest maxima of the correlation, lag and height, the highest first."""
    if look.lags_s is None or look.correlation is None:
        return ()
    values = np.nan_to_num(look.correlation, nan=-1.0)
    index, _ = scipy.signal.find_peaks(np.concatenate([[-2.0], values, [-2.0]]))
    ordered = sorted((index - 1).tolist(), key=lambda i: -values[i])[:PEAKS]
    return tuple((float(look.lags_s[i]), float(values[i])) for i in ordered)


def thinned(look: Look) -> tuple[Array, Array]:
    """Return the correlation over lags with few enough points to draw, every peak named kept."""
    if look.lags_s is None or look.correlation is None:
        return np.zeros(0), np.zeros(0)
    step = max(look.lags_s.size // POINTS, 1)
    kept = set(range(0, look.lags_s.size, step))
    kept |= {int(np.argmin(np.abs(look.lags_s - lag))) for lag, _ in peaks_of(look)}
    index = np.array(sorted(kept))
    return look.lags_s[index], look.correlation[index]
