"""Both angles on the wearable's clock and samples, and what an error of the clock costs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated

import numpy as np

from twinangle.checks import require_not_negative
from twinangle.clocks.band import BandLimited, band_limit
from twinangle.declare import measured
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    CycleSet,
    PairedAngles,
    Synchronisation,
)

_ANTI_ALIAS = 0.4  # of the wearable's rate, where the reference is faster


def align(
    wearable: AngleRecording, reference: AngleRecording, clock: Synchronisation
) -> PairedAngles:
    """Sample the reference at the wearable's sample times.

    An interpolating cubic spline through the reference is evaluated at each wearable sample, after
    a zero-phase low-pass at 0.4 of the wearable's rate where the reference is the faster one. A
    sample next to which the reference has a gap, or beyond its span, is NaN.

    Parameters
    ----------
    wearable, reference : AngleRecording
        Each on its own clock.
    clock : Synchronisation
        How the reference clock lies on the wearable's.

    Returns
    -------
    PairedAngles
        On the wearable's clock.
    """
    cutoff = _ANTI_ALIAS * wearable.rate_hz if reference.rate_hz > 1.05 * wearable.rate_hz else None
    of = (wearable.start_s, wearable.rate_hz, wearable.angle_deg.size)
    return PairedAngles(
        wearable_deg=wearable.angle_deg,
        reference_deg=_resampled(reference, clock, cutoff, *of),
        start_s=wearable.start_s,
        rate_hz=wearable.rate_hz,
    )


@lru_cache(maxsize=2)  # every procedure asks for the same
def _resampled(
    reference: AngleRecording,
    clock: Synchronisation,
    cutoff_hz: float | None,
    start_s: float,
    rate_hz: float,
    n_samples: int,
) -> Array:
    """Return the reference at the wearable's sample times (n,), which is not to be written to."""
    time_s = start_s + np.arange(n_samples) / rate_hz
    found, _ = band_limit(reference, cutoff_hz).at(clock.to_reference(time_s))
    found.setflags(write=False)
    return found


@dataclass(frozen=True, slots=True)
class TimingCost:
    """RMS of the demeaned mean curves' difference at the lag found and one error either side."""

    rms_deg: Annotated[
        float,
        measured("deg", "RMS of the demeaned mean curves' difference at the lag found"),
    ]
    earlier_deg: Annotated[
        float,
        measured("deg", "the RMS with the reference moved earlier by the standard error"),
    ]
    later_deg: Annotated[
        float,
        measured("deg", "the RMS with the reference moved later by the standard error"),
    ]
    change_deg: Annotated[
        float,
        measured("deg", "largest departure from that RMS within ± the standard error"),
    ]
    lag_se_s: Annotated[float, measured("s", "standard error of the lag")]


def timing_cost(
    paired: PairedAngles, cycles: CycleSet, lag_se_s: float, *, n_steps: int = 4
) -> TimingCost:
    """Say how much of the RMS is the clock: its change within ± the lag's standard error.

    The reference curves of the kept cycles are cut again with the reference shifted by steps up
    to ± the error; for each, RMS over the points of (w̄ − mean w̄) − (r̄ − mean r̄). On the
    stylised knee curve of docs/background/synchronisation.md a pure delay costs 0.175° per ms.
    A lag found by the likeness of the two angles makes the RMS about as small as a lag can: what
    it moves by is what the RMS may lack, hardly what it may have too much.

    Parameters
    ----------
    paired : PairedAngles
        Both instruments on one clock.
    cycles : CycleSet
        Cut from them.
    lag_se_s : float
        Standard error of the lag, in seconds.
    n_steps : int, default 4
        Shifts tried to either side.

    Returns
    -------
    TimingCost

    Raises
    ------
    ValueError
        If there is no reference, no kept cycle, or the error is not a finite number ≥ 0.
    """
    if paired.reference_deg is None or cycles.reference_deg is None:
        raise ValueError("`paired` and `cycles` must have a reference to cost its timing.")
    if not cycles.kept.any():
        raise ValueError("`cycles` must keep at least one cycle.")
    require_not_negative(lag_se_s, "lag_se_s")
    shifts = np.linspace(-lag_se_s, lag_se_s, 2 * n_steps + 1)
    mean_wearable = np.nanmean(cycles.wearable_deg[cycles.kept], axis=0)
    reference = BandLimited(paired.reference_deg, paired.start_s, paired.rate_hz, "reference")
    rms = np.array([_rms_at(mean_wearable, reference, cycles, shift) for shift in shifts])
    return TimingCost(
        rms_deg=float(rms[n_steps]),
        earlier_deg=float(rms[0]),
        later_deg=float(rms[-1]),
        change_deg=float(np.abs(rms - rms[n_steps]).max()),
        lag_se_s=float(lag_se_s),
    )


def _rms_at(mean_wearable: Array, reference: BandLimited, cycles: CycleSet, shift: float) -> float:
    """Return the RMS with the reference later by `shift`, over the cycles it covers."""
    start_s, end_s = cycles.start_s[cycles.kept], cycles.end_s[cycles.kept]
    points = np.linspace(0.0, 1.0, mean_wearable.size)
    times = start_s[:, None] + points * (end_s - start_s)[:, None] - shift
    curves = reference.at(times.ravel())[0].reshape(times.shape)
    covered = np.isfinite(curves).all(axis=1)
    if not covered.any():
        return float("nan")
    return float(np.std(mean_wearable - curves[covered].mean(axis=0)))
