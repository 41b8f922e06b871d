"""The clock of one wearable on that of another which recorded at the same time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.clocks import shared_clock, synchronise
from twinangle.signals.recording import AngleRecording, Synchronisation
from twinangle.study import Study, Trial


@dataclass(frozen=True, slots=True, eq=False)
class Worn:
    """One wearable in one recording: its settings, its angle, and its reference's clock."""

    study: Study
    trial: Trial
    angle: AngleRecording
    clock: Synchronisation | None


def clock_between(first: Worn, second: Worn) -> Synchronisation:
    """Return the clock of the second wearable on the first's.

    Through the reference where both recorded with one: with ``t1 = a t + p`` and ``t2 = b t + q``
    of its time t, ``t1 = (a / b) t2 + p - (a / b) q``. Else they are shared, or found from the two
    angles.

    Parameters
    ----------
    first, second : Worn
        The two; clocks of both are of the same reference.

    Raises
    ------
    SynchronisationError
        If the angles do not tell.
    """
    own, other = first.clock, second.clock
    if own is not None and other is not None:
        ratio = (1 + own.drift_ppm * 1e-6) / (1 + other.drift_ppm * 1e-6)
        return Synchronisation(
            method="by the reference",
            lag_s=own.lag_s - ratio * other.lag_s,
            lag_se_s=float(np.hypot(own.lag_se_s, other.lag_se_s)),
            drift_ppm=(ratio - 1) * 1e6,
        )
    settings = [one.study.synchronisation for one in (first, second)]
    if all(each.method == "shared-clock" for each in settings):
        return shared_clock()
    expected, most = ([_lag(one, name) for one in (first, second)] for name in _LAGS)
    return synchronise(
        first.angle,
        second.angle,
        expected_lag_s=expected[0] - expected[1],
        max_lag_s=max(most),
        drift=all(each.drift for each in settings),
    )


_LAGS = ("expected_lag_s", "max_lag_s")


def _lag(one: Worn, name: str) -> float:
    own = getattr(one.trial, name)
    return float(getattr(one.study.synchronisation, name) if own is None else own)
