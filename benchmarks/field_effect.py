"""What a disturbed field is said to do to flexion, and what it did, on simulated walks over iron.

    python benchmarks/field_effect.py [SEEDS [FIRST]]      default 3 from 0

Walks of 40 s with 12 m straights over 8 to 30 µT (RMS at floor level), and harder ones whose knee
leaves the plane of its hinge. For each procedure that rests on the field: in how many walks the RMS
difference between flexion from its orientations and flexion from the true ones, offset included,
stayed below the usual and below the largest figure of the warning (`analysis/field_effect.py`; the
larger of the two sensors'), and the largest share of the field's spread that a heading was off.
Baseline: the same angle from the true orientations.
"""

import sys
from collections.abc import Iterator
from typing import Any

import numpy as np
from heading_in_disturbed_field import FILTERS, heading_and_inclination, rms, sensors, steady
from scipy import stats

from twinangle.analysis import field_effect
from twinangle.simulate import SimulatedTrial, simulate_walk
from twinangle.wearable.heading.hinge import hinge_axes
from twinangle.wearable.procedures import WearableTrial, estimate_motion
from twinangle.wearable.quality.magnetic_field import magnetic_disturbance

WALKS: tuple[dict[str, Any], ...] = (
    {"floor_ut": 8.0},
    {"floor_ut": 13.0},
    {"floor_ut": 20.0},
    {"floor_ut": 30.0},
    {"floor_ut": 13.0, "out_of_plane_deg": 4.0},
    {"floor_ut": 20.0, "soft_tissue_deg": 3.0, "straight_m": 5.0},
)
PROCEDURES = {"kalman": "kalman", "vqf": "vqf_offline", "kalman-forward": "kalman_forward"}


def told(trial: SimulatedTrial, procedure: str, spreads: list[float]) -> tuple[float, float]:
    """Return the usual and the largest figure of the two sensors' warnings, in degrees."""
    pair = trial.sensors
    axes = hinge_axes(pair.proximal.gyroscope, pair.distal.gyroscope)
    upright = [
        field_effect._along(axis, sensor.accelerometer)
        for axis, sensor in ((axes.proximal, pair.proximal), (axes.distal, pair.distal))
    ]
    knee = float(np.ptp(trial.truth.knee.angle_deg[steady(trial)]))
    shares = (
        field_effect.HEADING_SHARES.get(procedure, 1.0),
        field_effect.LARGEST_SHARES.get(procedure, 1.4),
    )
    usual, largest = (
        max(
            field_effect._effect(share * spread, up, knee)
            for spread, up in zip(spreads, upright, strict=True)
        )
        for share in shares
    )
    return usual, largest


def rows(seeds: int, first: int) -> Iterator[tuple[str, float, float, float, float]]:
    """Yield procedure, RMS error, usual and largest figure, and share of the spread, a walk."""
    for changes in WALKS:
        for seed in range(first, first + seeds):
            trial = simulate_walk(rng=np.random.default_rng(900 + seed), walk_s=40.0, **changes)
            spreads = [magnetic_disturbance(one).heading_spread_deg for one, _ in sensors(trial)]
            part, names = steady(trial), (trial.static, trial.functional)
            truth = WearableTrial(trial.truth.sensors, *names)
            true = estimate_motion(truth, "orientation").angle.angle_deg
            for procedure, name in PROCEDURES.items():
                pair = FILTERS[name](trial.sensors)
                found = estimate_motion(WearableTrial(pair, *names), "orientation").angle.angle_deg
                share = max(
                    rms(heading_and_inclination(one, known)[0][part]) / spread
                    for one, (_, known), spread in zip(
                        (pair.proximal, pair.distal), sensors(trial), spreads, strict=True
                    )
                )
                yield procedure, rms((found - true)[part]), *told(trial, procedure, spreads), share


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    found = list(rows(seeds, int(sys.argv[2]) if len(sys.argv) > 2 else 0))
    for procedure in PROCEDURES:
        error, usual, largest, share = np.array([row[1:] for row in found if row[0] == procedure]).T
        low = stats.binomtest(int((error <= largest).sum()), error.size).proportion_ci().low
        print(
            f"{procedure:15s} {error.size} walks: RMS error {np.median(error):.2f}° (at most "
            f"{error.max():.2f}°); below the usual figure in {(error <= usual).sum()}, below the "
            f"largest in {(error <= largest).sum()} (95 % interval from {100 * low:.0f} %); "
            f"heading off by at most {share.max():.2f} of the spread"
        )


if __name__ == "__main__":
    main()
