"""Lag and drift of recordings like the demo's, beside the truth: how often the intervals hold.

    python benchmarks/clock_uncertainty.py                       # 60 recordings a procedure
    python benchmarks/clock_uncertainty.py --recordings 300 --first-seed 1000

Every recording is invented, drawn as a participant of the demo study with a seed of its own: 75 s
of walking in a hall with turns, sensor noise, iron in the floor, skin motion locked to the stride
(0.4 to 1.0 degrees), a reference with errors of its own, lag and drift drawn. Prints root mean
squares of the true errors beside those of the standard errors, and how often the 95 % intervals
hold, with the statistical part alone and with the systematic part.
"""

from __future__ import annotations

import argparse

import numpy as np

from twinangle.clocks import drift_interval, lag_interval, synchronise
from twinangle.errors import TwinangleError
from twinangle.signals.recording import Interval, Synchronisation
from twinangle.simulate.demo import demo_trial
from twinangle.simulate.walk import SimulatedTruth
from twinangle.wearable.procedure_input import WearableTrial
from twinangle.wearable.procedures import estimate_motion

PEOPLE = 6  # of a demo study


def measure(number: int, seed: int, procedure: str, hatch_deg: float) -> list[float] | None:
    """Return errors, standard errors and whether each interval holds; None where refused."""
    walk = demo_trial(number, seed=seed, hatch_deg=hatch_deg)
    assert walk.reference is not None
    trial = WearableTrial(walk=walk.sensors, static=walk.static, functional=walk.functional)
    try:
        clock = synchronise(estimate_motion(trial, procedure).angle, walk.reference)
    except TwinangleError:
        return None
    lag, slope = _errors(clock, walk.truth)
    parts = (False, True)
    lags = [lag_interval(clock, systematic=part) for part in parts]
    slopes = [drift_interval(clock, systematic=part) for part in parts]
    found = clock.lag_s + clock.centre_s * clock.drift_ppm * 1e-6
    return [
        1e3 * lag, 1e3 * clock.lag_statistical_s, 1e3 * clock.centre_lag_se_s,
        *(_holds(one, found - lag) for one in lags),
        slope, clock.drift_statistical_ppm, clock.drift_se_ppm,
        *(_holds(one, clock.drift_ppm - slope) for one in slopes),
    ]  # fmt: skip


def _errors(clock: Synchronisation, truth: SimulatedTruth) -> tuple[float, float]:
    """Return the errors of the lag at the middle of the overlap (s) and of the drift (ppm)."""
    slope = clock.drift_ppm - truth.drift_ppm
    return clock.lag_s - truth.lag_s + clock.centre_s * slope * 1e-6, slope


def _holds(interval: Interval | None, true: float) -> float:
    return float("nan") if interval is None else float(interval.start_s <= true <= interval.end_s)


def report(title: str, rows: np.ndarray) -> None:
    for name, unit, part in (("lag", "ms", rows[:, :5]), ("drift", "ppm", rows[:, 5:])):
        error, statistical, total = np.sqrt(np.mean(part[:, :3] ** 2, axis=0))
        held = 100 * part[:, 3:].mean(axis=0)
        worst = float(np.max(np.abs(part[:, 0]) / part[:, 2]))
        se = 100 * np.sqrt(held / 100 * (1 - held / 100) / len(part))
        print(
            f"{title:8s} {name:5s} RMS error {error:.3f} {unit}, SE statistical {statistical:.3f}, "
            f"total {total:.3f}; 95 % interval holds: statistical {held[0]:.1f} %, total "
            f"{held[1]:.1f} ± {se[1]:.1f} %; largest error {worst:.1f} total SE"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--recordings", type=int, default=60, help="of each procedure")
    parser.add_argument("--first-seed", type=int, default=1000, help="of the demo studies drawn")
    parser.add_argument("--procedures", nargs="+", default=["kalman", "vqf"])
    parser.add_argument("--hatch", type=float, default=0.0, help="turn of the heading, in degrees")
    options = parser.parse_args()
    for procedure in options.procedures:
        done = [
            measure(k % PEOPLE + 1, options.first_seed + k // PEOPLE, procedure, options.hatch)
            for k in range(options.recordings)
        ]
        rows = np.array([row for row in done if row is not None])
        report(procedure, rows)
        if len(rows) < len(done):
            print(f"{procedure:8s} {len(done) - len(rows)} refused")


if __name__ == "__main__":
    main()
