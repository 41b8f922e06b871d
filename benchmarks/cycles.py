"""Cycles of an eight-hour recording, against the plainest use of the same general library.

    python benchmarks/cycles.py

Eight hours at 100 Hz with twenty walking bouts of 12 to 150 cycles and 1500 other leg movements,
all invented. Baseline: one zero-phase filter and one peak search by scipy on the whole recording
and one interpolation by numpy a cycle and instrument, with no bouts, turns, starts or outliers
looked for. Prints time and peak memory of both, side by side, and their ratios; then the bouts
found, each against the one that was walked.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from twinangle.cycles import bout_units, find_cycles
from twinangle.signals.recording import CycleSet, PairedAngles

RATE_HZ, HOURS, BOUTS = 100.0, 8, 20
Array = NDArray[np.float64]


def bump(phase: Array, centre: float, width: float) -> Array:
    distance = (phase - centre + 0.5) % 1.0 - 0.5
    return np.asarray(np.exp(-0.5 * (distance / width) ** 2))


def invented_day(
    rng: np.random.Generator,
) -> tuple[Array, Array, Array, list[tuple[float, int]]]:
    """Angle in degrees, sagittal and vertical rate in rad/s, start and cycles of each bout."""
    n = int(HOURS * 3600 * RATE_HZ)
    angle = 10 + 0.2 * rng.standard_normal(n)
    sagittal, vertical = (0.03 * rng.standard_normal(n) for _ in range(2))
    for at in rng.integers(0, n - 400, 1500):
        length = int(rng.integers(60, 300))
        lift = rng.uniform(5, 30) * np.sin(np.pi * np.arange(length) / length)
        angle[at : at + length] += lift
        sagittal[at : at + length] += np.radians(np.gradient(lift)) * RATE_HZ
    walked = []
    for k in range(BOUTS):
        cycles = int(rng.integers(12, 150))
        stride = rng.uniform(1.0, 1.3) * (1 + 0.02 * rng.standard_normal(cycles))
        ends = np.concatenate(([0.0], np.cumsum(stride)))
        moment = np.arange(int(ends[-1] * RATE_HZ)) / RATE_HZ
        phase = np.interp(moment, ends, np.arange(cycles + 1.0))
        span = slice(at := int((k + 0.2) * n / BOUTS), at + moment.size)
        angle[span] = 3 + 14 * bump(phase, 0.14, 0.06) + 59 * bump(phase, 0.72, 0.09)
        sagittal[span] = 5.5 * bump(phase, 0.86, 0.05) - 3.5 * bump(phase, 0.62, 0.05)
        sagittal[span] -= 3.0 * bump(phase, 0.0, 0.02)
        walked.append((at / RATE_HZ, cycles))
    return angle, sagittal, vertical, walked


def plain(angle: Array, reference: Array, sagittal: Array) -> int:
    """Filter, find peaks, interpolate."""
    sos = signal.butter(2, 5.0, fs=RATE_HZ, output="sos")
    slow = signal.sosfiltfilt(sos, sagittal)
    peaks, _ = signal.find_peaks(slow, prominence=3.0)
    index, grid = np.arange(angle.size), np.linspace(0, 1, 101)
    pairs = [(a, b) for a, b in pairwise(peaks) if b - a < 2 * RATE_HZ]
    for values in (angle, reference):
        for a, b in pairs:
            np.interp(a + grid * (b - a), index[a : b + 1], values[a : b + 1])
    return len(pairs)


def measured(run: Callable[[], int]) -> tuple[float, float, int]:
    """Best of three times in seconds, peak memory in megabytes, and what was found."""
    times = []
    for _ in range(3):
        begin = time.perf_counter()
        found = run()
        times.append(time.perf_counter() - begin)
    tracemalloc.start()
    run()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return min(times), peak, found


def main() -> None:
    angle, sagittal, vertical, walked = invented_day(np.random.default_rng(20))
    reference = angle + 1.0
    paired = PairedAngles(angle, reference, 0.0, RATE_HZ)

    def found_cycles() -> CycleSet:
        return find_cycles(paired, sagittal_rate_rad_s=sagittal, vertical_rate_rad_s=vertical)

    def ours() -> int:
        return int(found_cycles().start_s.size)

    ours_s, ours_mb, found = measured(ours)
    plain_s, plain_mb, plain_found = measured(lambda: plain(angle, reference, sagittal))
    channel_mb = angle.nbytes / 1e6
    total = sum(cycles for _, cycles in walked)
    print(f"{total} cycles walked in {HOURS} h at {RATE_HZ:g} Hz; one channel {channel_mb:.0f} MB")
    print(f"{'':14}{'time, s':>10}{'peak, MB':>10}{'found':>8}")
    print(f"{'find_cycles':14}{ours_s:10.2f}{ours_mb:10.0f}{found:8d}")
    print(f"{'scipy, numpy':14}{plain_s:10.2f}{plain_mb:10.0f}{plain_found:8d}")
    print(f"{'ratio':14}{ours_s / plain_s:10.2f}{ours_mb / plain_mb:10.2f}")
    compare_bouts(found_cycles(), walked)


def compare_bouts(cycles: CycleSet, walked: list[tuple[float, int]]) -> None:
    """Print how many of the bouts walked were found whole, and what else was taken for a bout."""
    units = bout_units(cycles)
    starts = np.array([start for start, _ in walked])
    belongs = [int(np.abs(starts - unit.strides.start_s).argmin()) for unit in units]
    true = [
        (unit.strides, walked[k][1])
        for unit, k in zip(units, belongs, strict=True)
        if abs(unit.strides.start_s - starts[k]) < 3
    ]
    short = [cycles - strides.n_kept for strides, cycles in true]
    print(
        f"bouts: {len(true)} of {len(walked)} found, {len(units) - len(true)} others; cycles "
        f"walked less cycles kept, a bout: {min(short)} to {max(short)}"
    )


if __name__ == "__main__":
    main()
