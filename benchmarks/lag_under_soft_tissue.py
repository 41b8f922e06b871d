"""What soft tissue in swing does to the lag that two curves' likeness finds, and to the RMS.

    python benchmarks/lag_under_soft_tissue.py [PAIRS]      default 8 a row

Invented pairs of steady walking, 40 to 100 s (`benchmarks/synchronisation.py`), to which the
wearable adds a difference that repeats every stride: a bump sin² over 60 to 96 % of the stride (as
skin over a muscle that swings), 1 to 5° high or deep, a range that is 5 % larger alone, or nothing.
A row: the lag's error at the middle of the overlap; the root mean square of its total standard
error; how often the 95 % interval holds the truth; the RMS of the demeaned mean curves at the true
lag, and what share of it is left at the lag found. The last row is against the rule that the error
is judged by: range and bump hide each other.
Baseline: the reference laid at the true lag.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np
from synchronisation import Array, slow_drift, steady_walk, stride_errors

from twinangle.clocks import lag_interval, synchronise
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording, Synchronisation

RATE_HZ = 100.0
LAG_S, DRIFT = 3.217, 40e-6


@dataclass(frozen=True)
class Kind:
    """One way in which the wearable differs at every stride alike."""

    bump_deg: float = 0.0
    gain: float = 1.0

    def __str__(self) -> str:
        return f"bump {self.bump_deg:+.0f}°, range × {self.gain:.2f}"


KINDS = (
    Kind(),
    *(Kind(height) for height in (1.0, 2.0, 3.0, 5.0, -1.0, -2.0, -3.0, -5.0)),
    Kind(gain=1.05),
    Kind(3.0, 0.95),
)


def swing_bump(phase: Array) -> Array:
    """Return sin² over 60 to 96 % of the stride, 0 elsewhere."""
    within = (np.mod(phase, 1.0) - 0.60) / 0.36
    return np.where((within > 0) & (within < 1), np.sin(np.pi * within) ** 2, 0.0)


@dataclass(frozen=True)
class Pair:
    """Both recordings, and where the strides begin on the wearable's clock."""

    wearable: AngleRecording
    reference: AngleRecording
    contacts_s: Array


def make(rng: np.random.Generator, kind: Kind) -> Pair:
    """Draw one pair; the wearable's clock is the true one."""
    length = float(rng.uniform(40, 100))
    walk = steady_walk(rng, -1.0, LAG_S + length + 1, stride_s=float(rng.uniform(0.95, 1.25)))
    time = np.arange(int((LAG_S + length) * RATE_HZ)) / RATE_HZ
    phase = walk.phase(time)
    angle = kind.gain * walk.angle(time) + kind.bump_deg * swing_bump(phase)
    angle += stride_errors(rng, phase, 0.3) + slow_drift(rng, time, 0.3)
    angle += 0.1 * rng.standard_normal(time.size)
    own = np.arange(int(length * RATE_HZ)) / RATE_HZ
    other = walk.angle(own * (1 + DRIFT) + LAG_S) + 0.2 * rng.standard_normal(own.size)
    return Pair(
        AngleRecording(angle, 0.0, RATE_HZ, "wearable.csv"),
        AngleRecording(other, 0.0, RATE_HZ, "reference.csv"),
        walk.knots_s,
    )


def rms_at(pair: Pair, lag_s: float, drift: float) -> float:
    """Return the RMS of the demeaned mean curves with the reference laid so."""
    ends = LAG_S + 0.5, pair.wearable.time_s[-1] - 0.5
    begins = pair.contacts_s[(pair.contacts_s > ends[0]) & (pair.contacts_s < ends[1])]
    points = np.linspace(0, 1, 101)
    times = begins[:-1, None] + points * np.diff(begins)[:, None]
    wearable = np.interp(times, pair.wearable.time_s, pair.wearable.angle_deg).mean(axis=0)
    placed = pair.reference.time_s * (1 + drift) + lag_s
    return float(np.std(wearable - np.interp(times, placed, pair.reference.angle_deg).mean(axis=0)))


def measured(pair: Pair, clock: Synchronisation) -> list[float]:
    """Return error and errors of the lag in ms, whether the interval holds, and both RMS."""
    true = LAG_S + DRIFT * clock.centre_s
    found = clock.lag_s + clock.drift_ppm * 1e-6 * clock.centre_s
    interval = lag_interval(clock)
    assert interval is not None
    return [
        1e3 * (found - true),
        1e3 * clock.centre_lag_se_s,
        float(interval.start_s <= true <= interval.end_s),
        rms_at(pair, LAG_S, DRIFT),
        rms_at(pair, clock.lag_s, clock.drift_ppm * 1e-6),
    ]


def row(kind: Kind, pairs: int, seed: int = 0) -> tuple[Array, int]:
    """Return :func:`measured` of each pair (n, 5), and how many were refused."""
    rows, refused = [], 0
    for k in range(pairs):
        pair = make(np.random.default_rng([seed, k]), kind)
        try:
            rows.append(measured(pair, synchronise(pair.wearable, pair.reference)))
        except SynchronisationError:
            refused += 1
    return np.array(rows).reshape(-1, 5), refused


def main() -> None:
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    for kind in KINDS:
        rows, refused = row(kind, pairs)
        if not rows.size:
            print(f"{kind!s:24s} all refused")
            continue
        error, se, held, true, found = rows.T
        print(
            f"{kind!s:24s} lag off by {error.mean():+.2f} ms (RMS {np.sqrt(np.mean(error**2)):.2f}"
            f", at most {np.abs(error).max():.2f}), SE {np.sqrt(np.mean(se**2)):.2f}; 95 % "
            f"interval holds {100 * held.mean():.0f} % of {len(rows)}; RMS {true.mean():.2f}° at "
            f"the true lag, {100 * np.mean(found / true):.0f} % of it at the lag found (least "
            f"{100 * (found / true).min():.0f} %); {refused} refused"
        )


if __name__ == "__main__":
    main()
