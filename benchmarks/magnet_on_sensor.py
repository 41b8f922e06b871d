"""Orientation with a magnet fixed to the sensor that comes off again.

    python benchmarks/magnet_on_sensor.py [RUNS A TRIAL [SEED [FORM]]]      default 15, 0, plain

Baseline: the `vqf` library (Laidig & Seel 2023, Inf Fusion 91:187), default settings, run beside
ours on the same signals. A constant vector in the sensor's frame is added to the magnetometer of
the six trials of Laidig et al. 2021, Data 6:72, in ../shared/data/broad:

- `stress`: for 40 s from a random time on, 20 to 400 µT in a random direction, put on and taken off
  at once, over 1 s or over 5 s;
- `attached`: to five of the trials, from 43 s to 98 s, which is most of the movement, three
  directions each of 3.5, 6, 13, 46 and 370 µT, what a small magnet gives at 5, 4, 3, 2 and 1 cm.

FORM makes other trials of the same six, on which nothing was set: `turned`, the sensor mounted at a
random attitude (readings and tracked orientation turned alike), `reversed`, run backwards in time
(order reversed, rates negated). The magnet is added afterwards. Then `attached` is left out.

Errors: root mean square over the motion phases in degrees, mean over runs; the largest run in
brackets. `ratio` is the library's mean total error over ours, `worse` the share of runs in which
ours is the larger one, `levelled` how many runs had to find their vertical again.
"""

import sys
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from orientation import PAIRS, Trial, errors_deg, read_trials

from twinangle.signals.recording import InertialRecording
from twinangle.wearable import quaternions

Array = NDArray[np.float64]
RAMPS_S = (0.0, 1.0, 5.0)
WORN_S = 40.0
ATTACHED_UT = (3.5, 6.0, 13.0, 46.0, 370.0)
ATTACHED_S = (43.0, 98.0)


def with_magnet(
    sensor: InertialRecording, vector: Array, start_s: float, end_s: float, ramp_s: float
) -> InertialRecording:
    edge = np.minimum(sensor.time_s - start_s, end_s - sensor.time_s)
    share = np.clip(edge / max(ramp_s, 1e-9), 0, 1)[:, None]
    assert sensor.magnetometer is not None
    return replace(sensor, magnetometer=sensor.magnetometer + share * vector)


def turned(trial: Trial, seed: int) -> Trial:
    """Return the trial of a sensor mounted at another, random attitude."""
    sensor, optical, movement = trial
    turn = np.random.default_rng([9, seed]).normal(size=4)
    turn /= np.linalg.norm(turn)
    back = quaternions.conjugate(turn)
    assert sensor.magnetometer is not None
    other = replace(
        sensor,
        accelerometer=quaternions.rotate(back, sensor.accelerometer),
        gyroscope=quaternions.rotate(back, sensor.gyroscope),
        magnetometer=quaternions.rotate(back, sensor.magnetometer),
    )
    return other, quaternions.multiply(optical, turn), movement


def reversed_in_time(trial: Trial) -> Trial:
    """Return the trial run backwards."""
    sensor, optical, movement = trial
    assert sensor.magnetometer is not None
    # a rate is the mean over the interval that ends at its sample: backwards that of the next
    rates = -np.concatenate([sensor.gyroscope[-1:], sensor.gyroscope[:0:-1]])
    other = replace(
        sensor,
        accelerometer=sensor.accelerometer[::-1].copy(),
        gyroscope=rates,
        magnetometer=sensor.magnetometer[::-1].copy(),
    )
    return other, optical[::-1].copy(), movement[::-1].copy()


def direction(rng: np.random.Generator) -> Array:
    vector = rng.normal(size=3)
    return np.asarray(vector / np.linalg.norm(vector))


def stress(trials: list[Trial], runs: int, seed: int) -> Iterator[Trial]:
    for k, (sensor, optical, movement) in enumerate(trials):
        for i in range(runs):
            rng = np.random.default_rng([seed, k, i])
            start = rng.uniform(15, sensor.time_s[-1] - WORN_S - 20)
            strength = np.exp(rng.uniform(np.log(20), np.log(400)))
            vector = strength * direction(rng)
            ramp = float(rng.choice(RAMPS_S))
            yield (
                with_magnet(sensor, vector, start, start + WORN_S, ramp),
                optical,
                movement,
            )


def attached(trials: list[Trial], strength: float) -> Iterator[Trial]:
    for k, (sensor, optical, movement) in enumerate(trials[:5]):
        rng = np.random.default_rng([5, k])
        for _ in range(3):
            vector = strength * direction(rng)
            yield with_magnet(sensor, vector, *ATTACHED_S, 0.5), optical, movement


def print_runs(label: str, runs: list[Trial]) -> None:
    print(f"{label}: {len(runs)} runs", flush=True)
    for name, ours, library in PAIRS:
        errors = {
            who: np.array([errors_deg(estimate, trial) for trial in runs])
            for who, estimate in (("ours", ours), ("vqf", library))
        }
        for who, each in errors.items():
            parts = (f"{m:.2f} ({w:.1f})" for m, w in zip(each.mean(0), each.max(0), strict=True))
            print(f"  {name:16s} {who:5s} total / heading / inclination {' / '.join(parts)}")
        total, theirs = errors["ours"][:, 0], errors["vqf"][:, 0]
        levelled = sum(bool(ours(sensor).warnings) for sensor, _, _ in runs)
        print(
            f"  {name:16s} ratio {theirs.mean() / total.mean():.1f}, worse in "
            f"{100 * np.mean(total > theirs):.0f} % by at most "
            f"{max(np.max(total - theirs), 0):.1f}°, levelled {levelled}"
        )


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    trials = read_trials()
    if not trials:
        print("../shared/data/broad is absent: nothing to run")
        return
    form = sys.argv[3] if len(sys.argv) > 3 else "plain"
    if form == "turned":
        trials = [turned(trial, seed + i) for i, trial in enumerate(trials)]
    elif form == "reversed":
        trials = [reversed_in_time(trial) for trial in trials]
    print_runs(f"no magnet added, {form}", trials)
    print_runs(f"stress, {form}, seed {seed}", list(stress(trials, runs, seed)))
    if form != "plain":
        return
    for strength in ATTACHED_UT:
        print_runs(f"attached, {strength:g} µT", list(attached(trials, strength)))


if __name__ == "__main__":
    main()
