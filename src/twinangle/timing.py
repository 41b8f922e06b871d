"""From time stamps as a logger wrote them to one uniform clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression

from twinangle.errors import RecordingError
from twinangle.recording import Array, Recording

# A uniform grid more than this many times the samples is a fault in the times, not a gap.
MOST_SLOTS_PER_SAMPLE = 200
JITTER_WARNING = 0.25  # of a sampling interval, RMS
FIRST_BLOCK = 256


@dataclass(frozen=True, slots=True)
class TimingReport:
    """How regular a recording's clock was.

    `n_missing` counts the slots of the grid for which the file has no row; `longest_gap_s` is the
    longest stretch without a row or with every channel missing; `jitter_ms` the RMS distance of
    the time stamps from the grid; `n_repeated` the samples at which every channel of a changing
    recording still holds its last value.
    """

    rate_hz: float
    n_samples: int
    n_missing: int
    longest_gap_s: float
    jitter_ms: float
    n_repeated: int
    warnings: tuple[str, ...] = ()


def regularise(
    recording: Recording, *, rate_hz: float | None = None
) -> tuple[Recording, TimingReport]:
    """Put a recording on a uniform clock; missing rows become gaps (NaN).

    Each row goes to the slot of the grid that its time stamp belongs to. No value is changed or
    interpolated, so jitter of the stamps is taken for what it mostly is, an error of the stamps.

    Parameters
    ----------
    recording : Recording
        As read, times strictly increasing.
    rate_hz : float, optional
        The sampling rate where it is known; estimated from the time stamps if None.

    Returns
    -------
    recording : Recording
        Sample k at ``time_s[0] + k / rate_hz``.
    report : TimingReport

    Raises
    ------
    RecordingError
        If the stamps fit no single rate: the given one is off by more than 1 %, or the grid would
        hold far more gaps than samples.

    Notes
    -----
    The slots k are the increasing whole numbers nearest the stamps in the least-squares sense:
    isotonic regression of ``(t - t_0) / T - i`` on the sample number i, rounded. The period T is
    the least-squares slope of t on k, fitted on a stretch that doubles until it covers the
    recording, so that T is always known well enough to count the slots of the next stretch.

    References
    ----------
    .. [1] Barlow, Bartholomew, Bremner & Brunk (1972). Statistical inference under order
       restrictions. Wiley. (Isotonic regression; from memory.)
    """
    stamps = recording.time_s
    if stamps.size < 2:
        raise RecordingError(f"{recording.source}: holds {stamps.size} sample(s), too few.")
    slots, period, start = _fit_grid(stamps, recording.source, rate_hz)
    n_slots = int(slots[-1]) + 1
    if n_slots == stamps.size:
        values = recording.values
    else:
        values = np.full((n_slots, recording.values.shape[1]), np.nan)
        values[slots] = recording.values
    residual = stamps - (start + slots * period)
    uniform = Recording(
        time_s=start + period * np.arange(n_slots, dtype=np.float64),
        values=values,
        channels=recording.channels,
        units=recording.units,
        source=recording.source,
        notes=recording.notes,
    )
    return uniform, _report(uniform, period, residual, n_slots - stamps.size)


def _fit_grid(
    stamps: Array, source: str, rate_hz: float | None
) -> tuple[NDArray[np.int64], float, float]:
    """Return each stamp's slot, the period, and the time of slot 0."""
    period = _first_period(stamps[:FIRST_BLOCK])
    if rate_hz is not None:
        _check_rate(period, rate_hz, source)
        period = 1 / rate_hz
    _check_size(stamps, period, source)
    size = min(FIRST_BLOCK, stamps.size)
    while True:
        slots = _slots(stamps[:size], period)
        if rate_hz is None:
            period, start = _line(slots, stamps[:size])
        else:
            start = float(np.mean(stamps[:size] - slots * period))
        if size == stamps.size:
            break
        size = min(2 * size, stamps.size)
    if rate_hz is None:
        period, start = _rounded_rate(period, start, slots, stamps)
    return slots, period, start


def _first_period(stamps: Array) -> float:
    """Return a first idea of the period: the mean step, steps over missing rows left out.

    The mean, since rounded stamps (0.008, 0.007, 0.008 …) hide the period from the median.
    """
    steps = np.diff(stamps)
    return float(steps[steps < 1.5 * np.median(steps)].mean())


def _check_rate(period: float, rate_hz: float, source: str) -> None:
    if abs(period * rate_hz - 1) > 0.01:
        raise RecordingError(
            f"{source}: its times step at {1 / period:.6g} Hz where {rate_hz:g} Hz is given; "
            "correct the rate, or leave it out."
        )


def _check_size(stamps: Array, period: float, source: str) -> None:
    """Refuse times that would need an absurd grid (a date among seconds, a lost digit)."""
    n_slots = (stamps[-1] - stamps[0]) / period
    if n_slots > MOST_SLOTS_PER_SAMPLE * stamps.size:
        steps = np.diff(stamps)
        at = int(np.argmax(steps))
        raise RecordingError(
            f"{source}: time jumps by {steps[at]:.6g} s after {stamps[at]:.12g} s, where the "
            f"usual step is {period:.6g} s; split the recording there, or correct the times."
        )


def _slots(stamps: Array, period: float) -> NDArray[np.int64]:
    """Return the increasing whole numbers nearest ``(stamps - stamps[0]) / period``."""
    index = np.arange(stamps.size)
    excess = (stamps - stamps[0]) / period - index
    if np.abs(excess).max() < 0.5:
        return index
    slots = index + np.rint(isotonic_regression(excess).x).astype(np.int64)
    return np.asarray(slots - slots[0])


def _line(slots: NDArray[np.int64], stamps: Array) -> tuple[float, float]:
    """Return slope and intercept of the least-squares line of stamps on slots."""
    centred = slots - slots.mean()
    mean = stamps.mean()
    slope = float(centred @ (stamps - mean) / (centred @ centred))
    return slope, float(mean - slope * slots.mean())


def _rounded_rate(
    period: float, start: float, slots: NDArray[np.int64], stamps: Array
) -> tuple[float, float]:
    """Take a round rate (100 Hz for 99.9999998) where it moves no sample by 1 % of a period."""
    for digits in (0, 1, 2, 3):
        rate_hz = round(1 / period, digits)
        if rate_hz > 0 and abs(1 / rate_hz - period) * slots[-1] < 0.01 * period:
            period = 1 / rate_hz
            start = float(np.mean(stamps - slots * period))
            break
    # Stamps that are exact but for their last digits keep their own first time.
    return period, float(stamps[0]) if abs(start - stamps[0]) < 1e-6 * period else start


def _report(uniform: Recording, period: float, residual: Array, n_missing: int) -> TimingReport:
    empty = np.asarray(np.isnan(uniform.values).all(axis=1))
    jitter = float(np.sqrt(np.mean(residual**2)))
    n_repeated = _count_repeated(uniform.values)
    return TimingReport(
        rate_hz=1 / period,
        n_samples=empty.size,
        n_missing=n_missing,
        longest_gap_s=_longest_run(empty) * period,
        jitter_ms=1e3 * jitter,
        n_repeated=n_repeated,
        warnings=tuple(_warnings(uniform, period, residual, jitter, n_repeated)),
    )


def _count_repeated(values: Array) -> int:
    """Count rows of two or more channels that equal the row before in every channel."""
    if values.shape[1] < 2:
        return 0
    return int((values[1:] == values[:-1]).all(axis=1).sum())


def _longest_run(flags: NDArray[np.bool_]) -> int:
    """Return the length of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def _warnings(
    uniform: Recording, period: float, residual: Array, jitter: float, n_repeated: int
) -> list[str]:
    found = []
    if jitter > JITTER_WARNING * period:
        found.append(
            f"{uniform.source}: the time stamps stray from an even clock by {1e3 * jitter:.3g} ms "
            f"(RMS), {jitter / period:.0%} of the sampling interval; the largest distance is "
            f"{1e3 * np.abs(residual).max():.3g} ms."
        )
    if n_repeated > 0.01 * len(uniform.values):
        found.append(
            f"{uniform.source}: {n_repeated} of {len(uniform.values)} samples repeat the one "
            "before in every channel; the logger may have held its last value."
        )
    return found
