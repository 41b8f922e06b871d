"""Simulated pairs of steady walking, synchronised end to end beside the plain ways.

Everything here is invented: a stylised knee curve (a stance and a swing bump), strides that
vary in time and size, two instruments with errors of their own and two clocks.

    python benchmarks/synchronisation.py                        # 40 pairs of each kind
    python benchmarks/synchronisation.py --pairs 3000 --jobs 2  # the full run
    python benchmarks/synchronisation.py --coverage 400         # intervals, 400 pairs a design
    python benchmarks/synchronisation.py --day                  # speed and memory on 24 hours
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
from dataclasses import dataclass, field, replace

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.signal import correlate
from scipy.stats import beta

from twinangle.clocks import drift_interval, lag_interval, synchronise
from twinangle.clocks.correlation import normalised_correlation
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording, Interval, Synchronisation

Array = NDArray[np.float64]


def stylised_knee(phase: Array) -> Array:
    """3 + 14 g(p; .14, .06) + 59 g(p; .72, .09) degrees, p the phase in strides, wrapped."""
    p = np.mod(phase, 1.0)
    bumps = [(14.0, 0.14, 0.06), (59.0, 0.72, 0.09)]
    return 3.0 + sum(
        height * np.exp(-0.5 * ((p - centre + wrap) / width) ** 2)
        for height, centre, width in bumps
        for wrap in (-1.0, 0.0, 1.0)
    )


@dataclass(frozen=True)
class Walk:
    """A walk in true time: phase (strides) and knee angle of any time in its span."""

    knots_s: Array
    amplitude: Array

    def phase(self, time_s: Array) -> Array:
        """Return the strides since the start."""
        index = np.arange(self.knots_s.size, dtype=np.float64)
        return np.asarray(PchipInterpolator(self.knots_s, index, extrapolate=True)(time_s))

    def angle(self, time_s: Array) -> Array:
        """Return the true knee flexion, degrees."""
        phase = self.phase(time_s)
        size = np.interp(phase, np.arange(self.amplitude.size) + 0.5, self.amplitude)
        return 3.0 + (stylised_knee(phase) - 3.0) * size


def steady_walk(
    rng: np.random.Generator,
    start_s: float,
    end_s: float,
    *,
    stride_s: float = 1.1,
    time_cv: float = 0.015,
    size_cv: float = 0.02,
) -> Walk:
    """Draw strides that vary in time and size, covering a span with room to spare."""
    n = int((end_s - start_s) / stride_s * 1.2) + 30
    durations = stride_s * (1.0 + time_cv * rng.standard_normal(n))
    knots = start_s - 5 * stride_s + np.concatenate([[0.0], np.cumsum(durations)])
    return Walk(knots, 1.0 + size_cv * rng.standard_normal(n + 1))


def stride_errors(rng: np.random.Generator, phase: Array, rms_deg: float) -> Array:
    """Draw smooth errors, independent from stride to stride, of a given RMS."""
    n = int(np.ceil(phase.max())) + 2
    low = int(np.floor(phase.min()))
    at = np.arange(low * 4, n * 4) / 4.0
    knots = rng.standard_normal(at.size)
    error = np.asarray(PchipInterpolator(at, knots)(phase))
    return rms_deg * error / max(float(np.std(error)), 1e-12)


def slow_drift(rng: np.random.Generator, time_s: Array, rms_deg: float) -> Array:
    """Draw a slow drift: five sinusoids of 10 to 60 s."""
    periods, angles = rng.uniform(10, 60, 5), rng.uniform(0, 2 * np.pi, 5)
    waves = np.sin(2 * np.pi * time_s[:, None] / periods + angles).sum(axis=1)
    return rms_deg * waves / np.sqrt(2.5)


def phase_locked(rng: np.random.Generator, phase: Array, peak_deg: float) -> Array:
    """Draw a difference that repeats every stride: three harmonics, `peak_deg` at most."""
    if peak_deg == 0:
        return np.zeros(phase.size)
    weights = rng.standard_normal(3) / np.arange(1, 4)
    turns = rng.uniform(0, 2 * np.pi, 3)
    fine = np.linspace(0, 1, 200)
    m = np.arange(1, 4)

    def shape(p: Array) -> Array:
        return np.asarray(np.cos(2 * np.pi * p[:, None] * m + turns) @ weights)

    return peak_deg * shape(phase) / float(np.abs(shape(fine)).max())


@dataclass(frozen=True)
class PairSettings:
    """What a simulated pair is drawn from."""

    lag_s: float = 3.217
    drift_ppm: float = 40.0
    overlap_s: float = 40.0
    stride_s: float = 1.1
    time_cv: float = 0.015
    size_cv: float = 0.02
    locked_deg: float = 0.0
    slow_drift_deg: float = 1.0
    stride_error_deg: float = 1.0
    noise_deg: float = 0.2
    extra_s: float = 8.0
    wearable_hz: float = 100.0
    reference_hz: float = 200.0
    bursts: int = 0
    clip_deg: float = field(default=float("inf"))


def make_pair(
    rng: np.random.Generator, settings: PairSettings
) -> tuple[AngleRecording, AngleRecording]:
    """Simulate wearable and reference; both files start at 0 s on their own clock."""
    s = settings
    scale = 1 + s.drift_ppm * 1e-6
    length_w = max(s.lag_s, 0.0) + s.overlap_s + (s.extra_s if s.lag_s < 0 else 0.0)
    length_r = max(-s.lag_s, 0.0) + s.overlap_s + (s.extra_s if s.lag_s >= 0 else 0.0)
    walk = steady_walk(
        rng,
        min(0.0, s.lag_s) - 1,
        max(length_w, s.lag_s + length_r) + 1,
        stride_s=s.stride_s,
        time_cv=s.time_cv,
        size_cv=s.size_cv,
    )
    time_w = np.arange(int(length_w * s.wearable_hz)) / s.wearable_hz
    time_r = np.arange(int(length_r * s.reference_hz)) / s.reference_hz
    true_r = time_r * scale + s.lag_s
    phase_w = walk.phase(time_w)
    a = walk.angle(time_w) + phase_locked(rng, phase_w, s.locked_deg)
    a += stride_errors(rng, phase_w, s.stride_error_deg) + slow_drift(rng, time_w, s.slow_drift_deg)
    a += s.noise_deg * rng.standard_normal(time_w.size)
    b = walk.angle(true_r) + 0.5 * s.noise_deg * rng.standard_normal(time_r.size)
    for _ in range(s.bursts):
        at = rng.uniform(0, time_w[-1])
        a += 15 * rng.standard_normal() * np.exp(-0.5 * ((time_w - at) / 0.1) ** 2)
    a = np.minimum(a, s.clip_deg)
    return (
        AngleRecording(a, 0.0, s.wearable_hz, "wearable.csv"),
        AngleRecording(b, 0.0, s.reference_hz, "reference.csv"),
    )


def draw_settings(rng: np.random.Generator, kind: str) -> PairSettings:
    """Draw a pair of the kind named: steady, periodic, stress or two-minute."""
    drawn = PairSettings(
        lag_s=float(rng.uniform(-20, 20)),
        drift_ppm=float(rng.uniform(-150, 150)),
        overlap_s=float(rng.uniform(15, 50)),
        stride_s=float(rng.uniform(0.95, 1.25)),
        time_cv=float(rng.uniform(0.005, 0.025)),
        size_cv=float(rng.uniform(0.005, 0.03)),
        locked_deg=float(rng.choice([0.0, 0.0, 1.5, 3.0])),
        stride_error_deg=float(rng.uniform(0.5, 1.5)),
        noise_deg=float(rng.uniform(0.05, 0.4)),
        extra_s=float(rng.uniform(0, 20)),
    )
    if kind == "periodic":
        return replace(drawn, time_cv=0.0, size_cv=0.0)
    if kind == "stress":
        return replace(drawn, stride_error_deg=2.5, bursts=4, clip_deg=55.0)
    if kind == "two-minute":
        return replace(drawn, overlap_s=120.0, locked_deg=0.0)
    return drawn


def plain_lags(wearable: AngleRecording, reference: AngleRecording) -> tuple[float, float]:
    """Return the lag at the highest plain and at the highest normalised correlation, at 100 Hz."""
    times = np.arange(0, reference.end_s, 0.01)
    b = np.interp(times, reference.time_s, reference.angle_deg)
    a = wearable.angle_deg
    product = correlate(a - a.mean(), b - b.mean())
    lags = np.arange(-(b.size - 1), a.size)
    inside = np.abs(lags) <= 3000
    plain = float(lags[inside][np.argmax(product[inside])]) / 100
    normalised = normalised_correlation(a, b, -3000, 3000, 1000)
    return plain, float(normalised.lags[np.nanargmax(normalised.correlation)]) / 100


def measure(seed: int, kind: str) -> dict[str, float]:
    """Simulate one pair, synchronise it, and hold the answer against the truth."""
    rng = np.random.default_rng([seed, len(kind)])
    settings = draw_settings(rng, kind)
    wearable, reference = make_pair(rng, settings)
    middle = max(-settings.lag_s, 0.0) + settings.overlap_s / 2
    truth = settings.lag_s + middle * settings.drift_ppm * 1e-6
    plain, normalised = plain_lags(wearable, reference)
    row = {
        "overlap": settings.overlap_s,
        "locked": settings.locked_deg,
        "time_cv": settings.time_cv,
        "plain_wrong": float(abs(plain - truth) > 0.4 * settings.stride_s),
        "normalised_wrong": float(abs(normalised - truth) > 0.4 * settings.stride_s),
        "accepted": 0.0,
        "wrong": 0.0,
    }
    try:
        clock = synchronise(wearable, reference)
    except SynchronisationError as refusal:
        # A refusal for another reason than the stride would be a fault of the benchmark.
        return row | {"other_refusal": float("which stride" not in str(refusal))}
    error = float(clock.to_wearable(np.array(clock.centre_s)) - clock.centre_s)
    error -= settings.lag_s + clock.centre_s * settings.drift_ppm * 1e-6
    return (
        row
        | {
            "accepted": 1.0,
            "wrong": float(abs(error) > 0.4 * settings.stride_s),
            "error_ms": error * 1e3,
            "drift_error_ppm": clock.drift_ppm - settings.drift_ppm,
            "evidence": clock.evidence,
            "warned": float(len(clock.warnings) > 0),
        }
        | covered(clock, settings)
    )


def covered(clock: Synchronisation, settings: PairSettings) -> dict[str, float]:
    """Say which of the 95 % intervals hold the truth."""
    lag = settings.lag_s + clock.centre_s * settings.drift_ppm * 1e-6
    return {
        "covered": _holds(lag_interval(clock, systematic=False), lag),
        "covered_total": _holds(lag_interval(clock), lag),
        "drift_covered": _holds(drift_interval(clock, systematic=False), settings.drift_ppm),
    }


def _holds(interval: Interval | None, truth: float) -> float:
    return float(interval is not None and interval.start_s <= truth <= interval.end_s)


def _column(rows: list[dict[str, float]], key: str) -> Array:
    return np.array([row[key] for row in rows if key in row])


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2))) if values.size else float("nan")


def _share(rows: list[dict[str, float]], key: str) -> str:
    values = _column(rows, key)
    if not values.size:
        return "    - "
    share = float(values.mean())
    # Monte Carlo standard error, that of half a pair where none or all count
    spread = np.sqrt(max(share * (1 - share), 0.5 / values.size) / values.size)
    return f"{100 * share:.1f} ± {100 * spread:.1f} %"


def report(kind: str, rows: list[dict[str, float]]) -> None:
    """Print what the issue asks for, measured."""
    long = [row for row in rows if row["overlap"] >= 30]
    accepted = [row for row in rows if row["accepted"]]
    print(f"\n{kind}: {len(rows)} pairs")
    print(f"  wrong stride, plain argmax       {_share(rows, 'plain_wrong')}")
    print(f"  wrong stride, normalised argmax  {_share(rows, 'normalised_wrong')}")
    wrong = int(_column(rows, "wrong").sum())
    # one-sided 95 % limit of Clopper & Pearson 1934: 3 / n where none was wrong
    most = 100 * float(beta.ppf(0.95, wrong + 1, max(len(rows) - wrong, 1)))
    print(f"  wrong strides accepted           {wrong} (at most {most:.2f} % with 95 % certainty)")
    print(f"  refused                          {100 - 100 * len(accepted) / len(rows):5.1f} %")
    if long:
        kept = _column(long, "accepted").mean()
        print(f"  refused at 30 s and more         {100 - 100 * kept:5.1f} %")
    print(f"  refused for another reason       {int(_column(rows, 'other_refusal').sum())}")
    print(f"  accepted with a warning          {_share(accepted, 'warned')}")
    print(
        f"  intervals of all accepted        lag with the systematic part "
        f"{_share(accepted, 'covered_total')}, drift {_share(accepted, 'drift_covered')}"
    )
    for locked in sorted({row["locked"] for row in accepted}):
        some = [row for row in accepted if row["locked"] == locked and not row["wrong"]]
        print(
            f"  phase-locked {locked:3.1f} deg, {len(some)} accepted: lag RMS "
            f"{_rms(_column(some, 'error_ms')):.2f} ms; covered {_share(some, 'covered')}, "
            f"with the systematic part {_share(some, 'covered_total')}; drift RMS "
            f"{_rms(_column(some, 'drift_error_ppm')):.1f} ppm, "
            f"covered {_share(some, 'drift_covered')}"
        )


def measure_intervals(seed: int, changes: dict[str, float]) -> dict[str, float] | None:
    """Synchronise a pair whose stride is known, and say which intervals hold the truth.

    Overlap, stride errors and slow drift are given, the rest is drawn; no phase-locked difference,
    which no statistical interval sees.
    """
    rng = np.random.default_rng([seed, 1995])
    settings = replace(draw_settings(rng, "steady"), locked_deg=0.0, **changes)
    pair = make_pair(rng, settings)
    try:
        clock = synchronise(*pair, expected_lag_s=settings.lag_s, max_lag_s=0.4)
    except SynchronisationError:
        return None
    return covered(clock, settings) | changes


def coverage(n: int, first: int, jobs: int) -> None:
    """Print how often the statistical 95 % intervals hold the truth, design by design."""
    designs = [
        {"overlap_s": overlap, "stride_error_deg": error, "slow_drift_deg": slow}
        for overlap in (15.0, 30.0, 50.0)
        for error in (0.5, 1.5)
        for slow in (0.0, 1.0)
    ]
    print(f"95 % intervals, {n} pairs a design, the stride known, no phase-locked difference")
    everything: list[dict[str, float]] = []
    for k, design in enumerate(designs):
        seeds = range(first + 10_000 * k, first + 10_000 * k + n)
        done = Parallel(n_jobs=jobs)(delayed(measure_intervals)(seed, design) for seed in seeds)
        rows = [row for row in done if row is not None]
        everything += rows
        title = ", ".join(f"{key} {value:g}" for key, value in design.items())
        _print_coverage(title, rows, n - len(rows))
    for key in designs[0]:
        for value in sorted({design[key] for design in designs}):
            some = [row for row in everything if row[key] == value]
            _print_coverage(f"all of {key} {value:g}", some, 0)
    _print_coverage("all", everything, n * len(designs) - len(everything))


def _print_coverage(title: str, rows: list[dict[str, float]], failed: int) -> None:
    print(
        f"  {title:52s} lag {_share(rows, 'covered')}, drift {_share(rows, 'drift_covered')}"
        + (f" ({failed} refused)" if failed else ""),
        flush=True,
    )


def a_day(hours: float) -> None:
    """Time the correlation and the whole synchronisation of a long pair at 100 Hz with gaps."""
    rng = np.random.default_rng(24)
    settings = PairSettings(overlap_s=3600 * hours, lag_s=12.3, drift_ppm=60, reference_hz=100.0)
    wearable, reference = make_pair(rng, settings)
    angle = wearable.angle_deg.copy()
    for first in rng.integers(0, angle.size - 1000, 200):
        angle[first : first + 1000] = np.nan
    wearable = replace(wearable, angle_deg=angle)
    a, b = np.nan_to_num(angle - np.nanmean(angle)), reference.angle_deg - 30
    jobs = {
        "scipy.signal.correlate (FFT, no gaps)": lambda: correlate(a, b, method="fft"),
        "normalised correlation, gaps, 20 s": lambda: normalised_correlation(
            angle, reference.angle_deg, -2000, 2000, 1000
        ),
        "whole synchronisation": lambda: synchronise(wearable, reference, max_lag_s=20.0),
    }
    print(f"\n{hours:g} h against {hours:g} h at 100 Hz")
    first_time = first_memory = float("nan")
    for name, job in jobs.items():
        begin = time.perf_counter()
        result = job()
        took = time.perf_counter() - begin
        tracemalloc.start()
        job()
        memory = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        if np.isnan(first_time):
            first_time, first_memory = took, memory
        print(
            f"  {name:40s} {took:6.2f} s (ratio {took / first_time:.2f})  "
            f"{memory:7.1f} MB (ratio {memory / first_memory:.2f})"
        )
    print(
        f"  lag {result.lag_s:.4f} s (truth 12.3), drift {result.drift_ppm:.3f} ppm (truth 60), "
        f"standard errors {result.lag_se_s * 1e3:.3f} ms, {result.drift_se_ppm:.5f} ppm"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=40, help="steady pairs (full run: 3000)")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--coverage", type=int, metavar="N", help="intervals, N pairs a design")
    parser.add_argument("--day", action="store_true", help="speed and memory instead")
    parser.add_argument("--hours", type=float, default=24.0, help="length for --day")
    chosen = parser.parse_args()
    if chosen.day:
        a_day(chosen.hours)
        return
    if chosen.coverage:
        coverage(chosen.coverage, chosen.seed * 1_000_000, chosen.jobs)
        return
    few = max(chosen.pairs // 10, 20)
    for kind, n in (
        ("steady", chosen.pairs),
        ("periodic", few),
        ("stress", few),
        ("two-minute", few),
    ):
        seeds = range(chosen.seed * 100_000, chosen.seed * 100_000 + n)
        rows = Parallel(n_jobs=chosen.jobs)(delayed(measure)(seed, kind) for seed in seeds)
        report(kind, rows)


if __name__ == "__main__":
    main()
