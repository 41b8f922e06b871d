"""Cycles of simulated walks with turns, from noisy sensors, against the simulation's truth.

    python benchmarks/cycles_on_walks.py              # 12 walks
    python benchmarks/cycles_on_walks.py --walks 60   # the run behind docs/background/cycles.md

Every walk is invented: strides of 0.95 to 1.4 s with 0.5 to 3 % variation, a knee that varies by
0.5 to 2.5 degrees between strides, half turns of 1.8 to 3.5 s every 12 m. Prints, for each method:
the share of straight cycles kept; of the kept cycles, those that lie in a turn for more than a
third of their time, and the largest change of heading; the error of the per-cycle SD, and what it
would be with the turns left in; and the lateness of initial contacts.
"""

from __future__ import annotations

import argparse

import numpy as np
from joblib import Parallel, delayed
from scipy.spatial.transform import Rotation

from twinangle.cycles import find_cycles
from twinangle.cycles.normalise import cut
from twinangle.signals.recording import CycleSet, PairedAngles
from twinangle.simulate import SimulatedTruth, simulate_walk

METHODS = ("shank-gyroscope", "angle-peak")


def share_in_turns(cycles: CycleSet, truth: SimulatedTruth) -> np.ndarray:
    """Part of each cycle that lies within a turn."""
    overlap = [
        np.minimum(cycles.end_s, turn.end_s) - np.maximum(cycles.start_s, turn.start_s)
        for turn in truth.turns
    ]
    return np.maximum(overlap, 0.0).sum(axis=0) / cycles.duration_s


def true_heading_changes(cycles: CycleSet, truth: SimulatedTruth) -> np.ndarray:
    """Change of the shank's true heading over each cycle, in degrees."""
    turn = Rotation.from_quat(np.array(truth.segments.distal.quaternion), scalar_first=True)
    heading = np.degrees(np.unwrap(turn.as_euler("ZYX")[:, 0]))
    curves = cut(heading, cycles.start_s, cycles.end_s, origin_s=0.0, rate_hz=truth.knee.rate_hz)
    return np.abs(curves[:, -1] - curves[:, 0])


def one_walk(seed: int) -> dict[str, dict[str, np.ndarray]]:
    """Simulate one walk and compare both methods with the truth."""
    rng = np.random.default_rng(seed)
    trial = simulate_walk(
        rng=rng,
        side="left" if seed % 2 else "right",
        stride_s=rng.uniform(0.95, 1.4),
        stride_cv=rng.uniform(0.005, 0.03),
        knee_sd_deg=rng.uniform(0.5, 2.5),
        turn_s=rng.uniform(1.8, 3.5),
        with_reference=False,
    )
    truth, rate = trial.truth, np.array(trial.sensors.distal.gyroscope)
    to_segment = Rotation.from_quat(np.array(truth.mounting_distal), scalar_first=True)
    to_earth = Rotation.from_quat(np.array(truth.sensors.distal.quaternion), scalar_first=True)
    sagittal, vertical = to_segment.apply(rate)[:, 1], to_earth.apply(rate)[:, 2]
    paired = PairedAngles(truth.knee.angle_deg, None, 0.0, truth.knee.rate_hz)
    return {
        method: compare(
            find_cycles(
                paired,
                method=method,
                sagittal_rate_rad_s=sagittal,
                vertical_rate_rad_s=vertical,
            ),
            truth,
        )
        for method in METHODS
    }


def compare(cycles: CycleSet, truth: SimulatedTruth) -> dict[str, np.ndarray]:
    """Everything that is printed, of one walk."""
    share, kept = share_in_turns(cycles, truth), cycles.kept
    stride = np.median(cycles.duration_s)
    walking = (cycles.start_s > truth.walking.start_s) & (cycles.end_s < truth.walking.end_s)
    steady = (
        walking
        & (share == 0)
        & (cycles.start_s > truth.walking.start_s + stride)
        & (cycles.end_s < truth.walking.end_s - stride)
    )
    found, true = cycles.start_s[kept], truth.initial_contact_s
    return {
        "straight kept": kept[steady].astype(float),
        "share in turn": share[kept],
        "heading": true_heading_changes(cycles, truth)[kept],
        "sd": np.array([per_cycle_sd(cycles.wearable_deg[kept]) - truth.cycle_sd_deg]),
        "sd turns in": np.array([per_cycle_sd(cycles.wearable_deg[walking]) - truth.cycle_sd_deg]),
        "late": 1000 * (found - true[np.abs(true - found[:, None]).argmin(axis=1)]),
    }


def per_cycle_sd(curves: np.ndarray) -> float:
    """SD over cycles at each point, averaged over the points."""
    return float(curves.std(axis=0, ddof=1).mean())


def main() -> None:
    """Simulate, compare and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--walks", type=int, default=12)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    walks = Parallel(n_jobs=options.jobs)(delayed(one_walk)(seed) for seed in range(options.walks))
    for method in METHODS:
        of = {k: np.concatenate([w[method][k] for w in walks]) for k in walks[0][method]}
        straight, error = of["straight kept"], np.abs(of["sd"])
        print(f"{method}, {options.walks} walks")
        print(f"  straight cycles kept: {100 * straight.mean():.1f} % of {straight.size}")
        in_turn = int((of["share in turn"] > 1 / 3).sum())
        print(f"  kept in a turn for over a third of a cycle: {in_turn} of {of['heading'].size}")
        print(f"  largest heading change of a kept cycle: {of['heading'].max():.1f} deg")
        print(f"  per-cycle SD, error: mean {of['sd'].mean():+.3f}, largest {error.max():.3f} deg")
        print(f"  with turns left in: mean {of['sd turns in'].mean():+.2f} deg")
        if method == "shank-gyroscope":
            late = of["late"]
            print(f"  contacts: late by {late.mean():.1f} ms, SD {late.std():.1f} ms")


if __name__ == "__main__":
    main()
