"""From time stamps as a logger wrote them to one uniform clock."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.declare import Aside, measured, number
from twinangle.errors import RecordingError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, Interval, Recording
from twinangle.thresholds import told_apart

# A uniform grid more than this many times the samples is a fault in the times, not a gap.
MOST_SLOTS_PER_SAMPLE = 200
JITTER_WARNING = 0.25  # of a sampling interval, RMS
CLOCK_STEP = 0.1  # of a sampling interval
CLOCK_BLOCK = 50  # stamps
LEAST_GAP_S = 0.1
DENSE_STAMPS = 1024
MOST_FREQUENCIES = 4000


@dataclass(frozen=True, slots=True)
class Breaks:
    """The gaps of 0.1 s and more in a file's times, as they stand in it."""

    stamps: tuple[Interval, ...] = ()  # the last before each and the first behind
    usual_s: float = float("nan")  # from one sample to the next


@dataclass(frozen=True, slots=True)
class TimingReport:
    """How regular a recording's clock was."""

    rate_hz: Annotated[float, measured("hz", "sampling rate")]
    n_samples: Annotated[int, number("slots of the uniform clock")]
    n_missing: Annotated[int, number("slots for which the file has no row")]
    n_repeated: Annotated[
        int, number("samples at which every channel of a changing recording holds its last value")
    ]
    longest_gap_s: Annotated[
        float, measured("s", "longest stretch without a row or with every channel missing")
    ]
    jitter_ms: Annotated[float, measured("ms", "RMS distance of the time stamps from the clock")]
    warnings: Annotated[tuple[str, ...], Aside(())] = ()  # told among those of the trial
    breaks: Annotated[Breaks, Aside(Breaks())] = Breaks()


@dataclass(frozen=True, slots=True)
class Part:
    """What is taken of a recording, by its own time stamps."""

    kept: Interval  # what lies beyond is left out before anything else
    counted: Interval  # within it: the even clock is that of these stamps


def regularise(
    recording: Recording, *, rate_hz: float | None = None, part: Part | None = None
) -> tuple[Recording, TimingReport]:
    """Put a recording on a uniform clock; missing rows become gaps (NaN).

    Each row goes to the slot of the grid that its time stamp belongs to. No value is changed or
    interpolated, so jitter of the stamps is taken for what it mostly is, an error of the stamps.

    Of a part the clock is that of the stamps that count, as if the file held no others: what it
    did before or behind them, such as a step, is none of theirs. Where more than these is kept, the
    rest goes to the nearest slots of that clock.

    Parameters
    ----------
    recording : Recording
        As read, times strictly increasing.
    rate_hz : float, optional
        The sampling rate where it is known; estimated from the time stamps if None.
    part : Part, optional
        What is taken of it; the whole recording if None.

    Returns
    -------
    recording : Recording
        Sample k at ``time_s[0] + k / rate_hz``.
    report : TimingReport

    Raises
    ------
    RecordingError
        If the stamps fit no single rate: the given one is off by more than a tenth, the stamps
        come in bursts, or the grid would hold far more gaps than samples.

    Notes
    -----
    The period is where the stamps are most in step, the maximum of ``|sum exp(2 pi i t / T)|``
    (the first trigonometric moment [2]_), which jitter of up to a third of a period and missing
    rows do not move. The slots are the increasing whole numbers nearest the stamps in the
    least-squares sense: isotonic regression [1]_ of ``t / T - i`` on the sample number i, rounded.
    The least-squares line of t on the slots then gives T and the start.

    References
    ----------
    .. [1] Barlow, Bartholomew, Bremner & Brunk (1972). Statistical inference under order
       restrictions. Wiley. (Isotonic regression.)
    .. [2] Mardia & Jupp (2000). Directional statistics. Wiley, ch. 2 (the chapter from memory).
    """
    counted = slice(None)
    if part is not None:
        recording = _rows(recording, _inside(recording.time_s, part.kept))
        within = _inside(recording.time_s, part.counted)
        counted = within if within.stop - within.start > 1 else counted
    stamps = recording.time_s
    if stamps.size < 2:
        raise RecordingError(f"{recording.source}: holds {stamps.size} sample(s), too few.")
    slots, period, start = _fit_grid(stamps[counted], recording.source, rate_hz)
    if slots.size < stamps.size:
        _check_size(stamps, period, recording.source)
        slots = _beside(stamps, slots, period, start, counted.start)
        start = _as_stamped(start + period * int(slots[0]), stamps, period)
        slots = slots - slots[0]
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
    report = _report(uniform, period, residual[counted], n_slots - stamps.size)
    told = _left_beside(uniform.source, period, np.delete(residual, counted))
    breaks = _breaks(stamps, period)
    return uniform, replace(report, warnings=(*report.warnings, *told), breaks=breaks)


def _fit_grid(
    stamps: Array, source: str, rate_hz: float | None
) -> tuple[NDArray[np.int64], float, float]:
    """Return each stamp's slot, the period, and the time of slot 0."""
    even = _is_even(stamps)
    period = _mean_step(stamps) if even else _usual_step(stamps, source)
    _check_size(stamps, period, source)
    if rate_hz is None:
        period = period if even else 1 / _frequency(stamps, 1 / period)
    elif abs(period * rate_hz - 1) > 0.1:
        raise RecordingError(
            f"{source}: its times step at {1 / period:.6g} Hz where {rate_hz:g} Hz is given; "
            "correct the rate, or leave it out."
        )
    else:
        period = 1 / rate_hz
    slots = _slots(stamps, period)
    if rate_hz is None:
        period, start = _line(slots, stamps)
        period, start = _rounded_rate(period, start, slots, stamps)
    else:
        start = float(np.mean(stamps - slots * period))
    return slots, period, _as_stamped(start, stamps, period)


def _as_stamped(start: float, stamps: Array, period: float) -> float:
    """Return the time of slot 0; exact stamps keep their own first time."""
    return float(stamps[0]) if abs(start - stamps[0]) < 1e-6 * period else start


def _inside(stamps: Array, stretch: Interval) -> slice:
    """Return the rows of a stretch; a limit that falls on a sample keeps it."""
    edge = 1e-6 * _mean_step(stamps) if stamps.size > 1 else 0.0
    return slice(
        int(np.searchsorted(stamps, stretch.start_s - edge)),
        int(np.searchsorted(stamps, stretch.end_s + edge, "right")),
    )


def _rows(recording: Recording, rows: slice) -> Recording:
    return replace(recording, time_s=recording.time_s[rows], values=recording.values[rows])


def _beside(
    stamps: Array, slots: NDArray[np.int64], period: float, start: float, first: int
) -> NDArray[np.int64]:
    """Return the slots of all stamps, those from number `first` on given.

    The nearest ones that are free: outwards from the given ones each has a slot of its own.
    """
    last = first + slots.size
    nearest = np.rint((stamps - start) / period).astype(np.int64)
    index = np.arange(stamps.size)
    apart = nearest - index  # does not fall from one stamp to the next where each has its own
    apart[first:last] = slots - index[first:last]
    apart[last - 1 :] = np.maximum.accumulate(apart[last - 1 :])
    apart[: first + 1] = np.minimum.accumulate(apart[first::-1])[::-1]
    return np.asarray(apart + index)


def _mean_step(stamps: Array) -> float:
    return float(stamps[-1] - stamps[0]) / (stamps.size - 1)


def _is_even(stamps: Array) -> bool:
    """Tell whether no stamp is a quarter period off the even clock between first and last."""
    period = _mean_step(stamps)
    even = stamps[0] + period * np.arange(stamps.size)
    return float(np.abs(stamps - even).max()) < 0.25 * period


def _usual_step(stamps: Array, source: str) -> float:
    """Return a first idea of the period: the mean step, steps over missing rows left out.

    The mean, since rounded stamps (0.008, 0.007, 0.008 …) hide the period from the median.
    """
    steps = np.diff(stamps)
    median = float(np.median(steps))
    trimmed = steps[steps <= np.quantile(steps, 0.98)].mean()
    if trimmed > 2.5 * median:
        raise RecordingError(
            f"{source}: its times come in bursts (half the steps are under {median:.3g} s, their "
            f"mean is {trimmed:.3g} s), so they are not when the samples were taken; give "
            "`rate_hz` with a column that counts samples, or without one."
        )
    return float(steps[steps < 1.5 * median].mean())


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


def _frequency(stamps: Array, first_hz: float) -> float:
    """Return the frequency at which the stamps are most in step, near `first_hz`.

    The densest stretch is searched first, ever longer ones then within the accuracy so far.
    """
    size = min(DENSE_STAMPS, stamps.size)
    spans = stamps[size - 1 :] - stamps[: stamps.size - size + 1]
    low = int(np.argmin(spans))
    high = low + size
    span = float(spans[low])
    frequency = _most_in_step(stamps[low:high], first_hz, 0.1 * first_hz)
    while high - low < stamps.size:
        width = 1 / span
        low, high = max(0, low - size), min(stamps.size, high + size)
        size *= 2
        span = float(stamps[high - 1] - stamps[low])
        some = np.linspace(low, high - 1, min(high - low, 2 * DENSE_STAMPS)).astype(int)
        frequency = _most_in_step(stamps[some], frequency, min(width, 0.01 * first_hz))
    return frequency


def _most_in_step(stamps: Array, centre_hz: float, width_hz: float) -> float:
    """Maximise ``|sum exp(2 pi i f t)|`` over f within `width_hz` of the centre."""
    times = stamps - stamps.mean()
    step = 1 / (6 * float(np.ptp(stamps)))
    n_steps = min(int(np.ceil(width_hz / step)), MOST_FREQUENCIES)
    turn = np.exp(2j * np.pi * step * times)
    best, best_power = centre_hz, -1.0
    for offsets in np.array_split(np.arange(-n_steps, n_steps + 1), n_steps // 32 + 1):
        trial = centre_hz + offsets * step
        power = np.empty(trial.size)
        phasors = np.exp(2j * np.pi * trial[0] * times)
        for k in range(trial.size):  # from one frequency to the next by a product, not powers anew
            power[k] = abs(phasors.sum())
            phasors *= turn
        if power.max() > best_power:
            best, best_power = float(trial[np.argmax(power)]), float(power.max())
    return best


def _slots(stamps: Array, period: float) -> NDArray[np.int64]:
    """Return the increasing whole numbers nearest the stamps in periods, the first one 0."""
    position = (stamps - stamps[0]) / period
    some = position[:: max(1, position.size // 4096)]
    position -= float(np.angle(np.exp(2j * np.pi * some).sum()) / (2 * np.pi))
    slots = np.rint(position).astype(np.int64)
    if (np.diff(slots) < 1).any():
        index = np.arange(stamps.size)
        slots = index + np.rint(scipy.optimize.isotonic_regression(position - index).x).astype(
            np.int64
        )
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
    return period, start


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


def _breaks(stamps: Array, period: float) -> Breaks:
    ends = np.flatnonzero(np.diff(stamps) > max(LEAST_GAP_S, 1.5 * period))
    found = (Interval(float(stamps[k]), float(stamps[k + 1])) for k in ends)
    return Breaks(tuple(found), period)


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
    found: list[str] = []
    if jitter > JITTER_WARNING * period:
        part, most = told_apart(100 * jitter / period, 100 * JITTER_WARNING, 0)
        text = (
            f"{uniform.source}: the time stamps stray from an even clock by {1e3 * jitter:.3g} ms "
            f"(RMS), {part} % of the sampling interval (more than {most} %); the largest distance "
            "is "
            f"{1e3 * np.abs(residual).max():.3g} ms."
        )
        found.append(Notice(text, "uneven-time-stamps", size=jitter / period))
    found += _uneven_clock(uniform, period, residual)
    if n_repeated > 0.01 * len(uniform.values):
        longest = _longest_run((uniform.values[1:] == uniform.values[:-1]).all(axis=1))
        text = (
            f"{uniform.source}: {n_repeated} of {len(uniform.values)} samples repeat the one "
            f"before in every channel, up to {longest} on end ({longest * period:.3g} s); the "
            "logger may have held its last value. They are taken as they stand; empty their "
            "cells to have them treated as a gap."
        )
        found.append(Notice(text, "repeated-samples", size=n_repeated / len(uniform.values)))
    return found


def _uneven_clock(uniform: Recording, period: float, residual: Array) -> list[str]:
    """Tell of a clock that steps or bends: stamps that leave the even clock together."""
    worst = _worst_block(period, residual)
    if worst is None:
        return []
    mean, stamp = worst
    text = (
        f"{uniform.source}: the clock does not run evenly; its time stamps leave an even clock by "
        f"{1e3 * mean:.3g} ms around stamp {stamp + 1}, so it stepped or "
        "its speed changed. Times are taken from the even clock."
    )
    return [Notice(text, "clock-step", "grave", abs(mean))]


def _left_beside(source: str, period: float, residual: Array) -> list[str]:
    """Tell of stamps beside those that count which leave the even clock of these together."""
    worst = _worst_block(period, residual)
    if worst is None:
        return []
    text = (
        f"{source}: before or behind the part to analyse the time stamps leave its even clock by "
        f"{1e3 * abs(worst[0]):.3g} ms; what is calibrated there is taken so much early or late, "
        "and what is analysed is not touched by it."
    )
    return [Notice(text, "clock-step-beside", "note", abs(worst[0]))]


def _worst_block(period: float, residual: Array) -> tuple[float, int] | None:
    """Return the mean and the first stamp of the block of stamps farthest from the even clock.

    None where none is farther than chance.
    """
    n_blocks = residual.size // CLOCK_BLOCK
    if n_blocks < 2:
        return None
    blocks = residual[: n_blocks * CLOCK_BLOCK].reshape(n_blocks, CLOCK_BLOCK)
    means, spread = blocks.mean(axis=1), float(np.median(blocks.std(axis=1)))
    worst = int(np.argmax(np.abs(means)))
    # A mean of n stamps scatters by spread / sqrt(n): ten times that is no chance.
    if abs(means[worst]) < max(CLOCK_STEP * period, 10 * spread / np.sqrt(CLOCK_BLOCK)):
        return None
    return float(means[worst]), worst * CLOCK_BLOCK
