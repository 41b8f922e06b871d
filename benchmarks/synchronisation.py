"""Simulated pairs of steady walking, synchronised end to end beside the plain ways.

Everything here is invented: a stylised knee curve (METHODS: stance and swing bump), strides that
vary in time and size, two instruments with errors of their own and two clocks.

    python benchmarks/synchronisation.py --pairs 200          # a few minutes
    python benchmarks/synchronisation.py --pairs 3000 --jobs 2  # the full run
    python benchmarks/synchronisation.py --periodic 100       # fully periodic: must be refused
    python benchmarks/synchronisation.py --stress 200         # bursts, clipping, 2.5 degree errors
    python benchmarks/synchronisation.py --day                # speed and memory on 24 hours
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from twinangle.recording import AngleRecording

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


def wander(rng: np.random.Generator, time_s: Array, rms_deg: float) -> Array:
    """Draw a slow wander: five sinusoids of 10 to 60 s."""
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
    wander_deg: float = 1.0
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
    a += stride_errors(rng, phase_w, s.stride_error_deg) + wander(rng, time_w, s.wander_deg)
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
