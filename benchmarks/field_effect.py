"""What a disturbed field is said to do to flexion, and what it did, on simulated walks over iron.

    python benchmarks/field_effect.py [SEEDS [FIRST]]      default 3 from 0

Walks of 40 s with 12 m straights over 8 to 30 µT (RMS at floor level), harder ones whose knee
leaves the plane of its hinge, and a beam at the far end of the walkway, of which the shank meets
more than the thigh (18 µT at 0.3 m, a bump of 1.5 m). For each procedure that rests on the field:
the RMS over the steady walk of flexion with iron less flexion of the same walk and noise without,
the mean left in, which is what the warning speaks of (`analysis/field_effect.py`; the larger of the
two sensors'), in how many walks it stayed below the usual and below the largest figure, and the
largest share of the field's spread that a heading was off; beside it the whole error, with iron
and without. Baseline: the same walk without iron.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from unittest import mock

import numpy as np
from heading_in_disturbed_field import FILTERS, heading_and_inclination, rms, sensors, steady
from scipy import stats

from twinangle.analysis import field_effect
from twinangle.signals.recording import Array
from twinangle.simulate import SimulatedTrial, recorded, simulate_walk
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
    {"beam_ut": 18.0},
    {"beam_ut": 36.0},
)
PROCEDURES = {"kalman": "kalman", "vqf": "vqf_offline", "kalman-forward": "kalman_forward"}


@dataclass(frozen=True)
class Beam:
    """A field with a bump 11 m from the start: invented, free of neither curl nor divergence."""

    clean: Any
    size_ut: float

    def at(self, position_m: Array) -> Array:
        """Return the field (n, 3) in µT at positions (n, 3) in metres."""
        away = np.hypot(position_m[:, 0], position_m[:, 1]) - 11.0
        size = self.size_ut * np.exp(-0.5 * (away / 1.5) ** 2 - (position_m[:, 2] - 0.3) / 0.5)
        return np.asarray(self.clean.at(position_m) + size[:, None] * np.array([0.3, 1.0, 0.4]))


def walk(seed: int, changes: dict[str, Any], *, iron: bool) -> SimulatedTrial:
    """Simulate a walk, with its iron or with the same noise and none."""
    beam_ut = changes.get("beam_ut", 0.0) if iron else 0.0
    others = {key: value for key, value in changes.items() if key != "beam_ut"}
    if not iron:
        others["floor_ut"] = 0.0
    drawn = recorded.make_field

    def make(**settings: Any) -> Beam:
        return Beam(drawn(**settings), beam_ut)

    with mock.patch.object(recorded, "make_field", make):
        return simulate_walk(rng=np.random.default_rng(900 + seed), walk_s=40.0, **others)


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
            field_effect._effect(share * spread, up, knee, tilt)
            for spread, up in zip(spreads, upright, strict=True)
        )
        for share, tilt in zip(shares, field_effect.TILT_DEGS, strict=True)
    )
    return usual, largest


def angle_of(trial: SimulatedTrial, pair: Any) -> Array:
    """Return flexion in the steady walk from orientations, its mean left in."""
    taken = WearableTrial(pair, trial.static, trial.functional)
    return np.asarray(estimate_motion(taken, "orientation").angle.angle_deg[steady(trial)])


def rows(seeds: int, first: int) -> Iterator[tuple[str, list[float]]]:
    """Yield procedure and, a walk: effect, usual, largest, error with and without, share."""
    for changes in WALKS:
        for seed in range(first, first + seeds):
            trial, clean = (walk(seed, changes, iron=iron) for iron in (True, False))
            spreads = [magnetic_disturbance(one).heading_spread_deg for one, _ in sensors(trial)]
            true, part = angle_of(trial, trial.truth.sensors), steady(trial)
            for procedure, name in PROCEDURES.items():
                pair = FILTERS[name](trial.sensors)
                found = angle_of(trial, pair)
                without = angle_of(clean, FILTERS[name](clean.sensors))
                share = max(
                    rms(heading_and_inclination(one, known)[0][part]) / spread
                    for one, (_, known), spread in zip(
                        (pair.proximal, pair.distal), sensors(trial), spreads, strict=True
                    )
                )
                errors = rms(found - true), rms(without - true)
                figures = told(trial, procedure, spreads)
                yield procedure, [rms(found - without), *figures, *errors, share]


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    found = list(rows(seeds, int(sys.argv[2]) if len(sys.argv) > 2 else 0))
    for procedure in PROCEDURES:
        effect, usual, largest, whole, without, share = np.array(
            [row for name, row in found if name == procedure]
        ).T
        held = int((effect <= largest).sum())
        low = stats.binomtest(held, effect.size).proportion_ci().low
        print(
            f"{procedure:15s} {effect.size} walks: iron moved flexion by {np.median(effect):.2f}° "
            f"RMS (at most {effect.max():.2f}°); below the usual figure in "
            f"{(effect <= usual).sum()}, below the largest in {held} (95 % interval from "
            f"{100 * low:.0f} %); whole error {np.median(whole):.2f}° (at most "
            f"{whole.max():.2f}°), without iron {np.median(without):.2f}° (at most "
            f"{without.max():.2f}°); heading off by at most {share.max():.2f} of the spread"
        )


if __name__ == "__main__":
    main()
