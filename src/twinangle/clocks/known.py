"""Clocks that are known beforehand: shared, or given by hand."""

from __future__ import annotations

import numpy as np

from twinangle.signals.recording import Synchronisation


def shared_clock() -> Synchronisation:
    """Return the identity: both instruments were sampled by one clock.

    Returns
    -------
    Synchronisation
    """
    return Synchronisation(
        method="shared-clock", lag_s=0.0, lag_se_s=0.0, drift_ppm=0.0, drift_se_ppm=0.0
    )


def manual(
    lag_s: float,
    drift_ppm: float = 0.0,
    *,
    lag_se_s: float = float("nan"),
    drift_se_ppm: float = float("nan"),
) -> Synchronisation:
    """Return a clock given by the user, with the uncertainty the user states (NaN: unknown).

    Parameters
    ----------
    lag_s : float
        Added to the reference's clock, in seconds.
    drift_ppm : float, default 0
        By how much the reference's clock runs slow, in parts per million.
    lag_se_s, drift_se_ppm : float
        Their standard errors.

    Returns
    -------
    Synchronisation

    Raises
    ------
    ValueError
        If lag or drift is not finite, or the drift is beyond 10 000 ppm (no clock's).
    """
    for name, value in (("lag_s", lag_s), ("drift_ppm", drift_ppm)):
        if not np.isfinite(value):
            raise ValueError(f"`{name}` must be a finite number, got {value!r}.")
    if abs(drift_ppm) > 10_000:
        raise ValueError(
            f"`drift_ppm` must lie within ±10000 ppm, got {drift_ppm:g}: parts per million, so a "
            "clock that gains 1 s in an hour has 278."
        )
    return Synchronisation(
        method="manual",
        lag_s=float(lag_s),
        lag_se_s=float(lag_se_s),
        drift_ppm=float(drift_ppm),
        drift_se_ppm=float(drift_se_ppm),
    )
