"""The physical tests on honest recordings and on recordings with a mistake put in.

Run with ``python -m benchmarks.plausibility [--seed 1] [--data ../shared/data]``. Prints, for each
test, the honest extremes and how often it spoke on honest recordings, then the share of recordings
on which each mistake was refused, warned of and passed, and the seconds a recording takes. With
``--mounted 3`` what honest sensors show in short walks of three seeds, each mounted in eight ways.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.spatial.transform import Rotation

from twinangle.plausibility.evidence import Evidence, masked
from twinangle.plausibility.frame import (
    FEWEST_WINDOWS,
    FIELD_FLOOR,
    FIELD_WINDOW_S,
    FLOOR_M2_S4,
    LONG_SMOOTH_S,
    LONG_WINDOW_S,
    WINDOW_S,
    Assignment,
    field_assignment,
    frame,
    gravity_assignment,
    over_rivals,
    weigh,
)
from twinangle.plausibility.gravity import gravity
from twinangle.plausibility.magnetometer import magnetometer
from twinangle.plausibility.mirror import mirror
from twinangle.plausibility.order import order
from twinangle.plausibility.outcome import Outcome
from twinangle.plausibility.turned_back import SIGNED, scatter_by_mapping
from twinangle.plausibility.yaw import yaw
from twinangle.signals.recording import Array, InertialRecording, Interval, SensorPair
from twinangle.simulate import SimulatedTrial, simulate_walk
from twinangle.simulate.demo import demo_trial

TESTS = (frame, gravity, order, yaw, mirror, magnetometer)
GRAVITY = 9.80665
# Quiet standing, s; two of the six hold channels that were not measured and are left out.
WALKS = {
    "ccw_fast_01": 29.0,
    "ccw_normal_02": 27.2,
    "cw_normal_01": 33.5,
    "cw_slow_05": 39.0,
}
SLOW = {"soft_tissue_deg": 2.0, "stride_s": 1.5, "speed_m_s": 0.7}
SIMULATED = (
    {"rate_hz": 50.0},
    {"rate_hz": 100.0},
    {"rate_hz": 200.0},
    {"rate_hz": 400.0, "walk_s": 40.0},
    {"floor_ut": 25.0},
    {"floor_ut": 40.0, "side": "right"},
    {"soft_tissue_deg": 3.0, "out_of_plane_deg": 8.0},
    SLOW,
    {"turn_s": 1.2, "straight_m": 6.0},
    {"walk_s": 20.0},
    {"walk_s": 40.0, "straight_m": 200.0, "weave_deg": 8.0},
    {"gyroscope_sample": "interval-mean"},
)
Mistake = Callable[[SensorPair], SensorPair | None]


def sensor_of(frame_: pd.DataFrame, prefix: str, rate_hz: float, name: str) -> InertialRecording:
    """Return a sensor from columns like `thigh_acc_x`, accelerometer in m/s²."""
    parts = {
        part: frame_[[f"{prefix}{part}_{axis}" for axis in "xyz"]].to_numpy(float)
        for part in ("acc", "gyr", "mag")
        if f"{prefix}{part}_x" in frame_
    }
    return InertialRecording(
        parts["acc"], parts["gyr"], parts.get("mag"), 0.0, rate_hz, f"{name} {prefix}"
    )


def walk(data: Path, name: str, until_s: float, *, mended: bool = True) -> SensorPair:
    """Return one public walk, cut to the circuit, the thigh's accelerometer mended."""
    table = pd.read_csv(data / "walking-knee-optical" / f"{name}_imu.csv.gz")
    start_s = float(table["time_s"].iloc[0]) + 1.5
    table = table[table["time_s"].between(start_s, until_s)]
    thigh, shank = (sensor_of(table, f"{each}_", 200.0, name) for each in ("thigh", "shank"))
    force = GRAVITY * thigh.accelerometer * (-1.0 if mended else 1.0)
    return SensorPair(
        replace(thigh, accelerometer=force),
        replace(shank, accelerometer=GRAVITY * shank.accelerometer),
    )


def recorded(data: Path) -> Iterator[tuple[str, str, SensorPair]]:
    """Yield the honest recordings of people and machines: name, joint, sensors."""
    for name, until_s in WALKS.items():
        yield name, "knee", walk(data, name, until_s)
    folder = data / "knee-jump-left"
    shank, thigh = (
        sensor_of(pd.read_csv(folder / f"left_segment_{each}_imu.csv"), "", 100.0, f"jump {each}")
        for each in "ab"
    )
    yield "jump", "knee", SensorPair(thigh, shank)
    for path in ("circle_150", "triangle_250"):
        first, second = (
            sensor_of(
                pd.read_csv(data / "robot-joint-imu" / f"{path}_segment_{k}.csv"), "", 125.0, path
            )
            for k in (1, 2)
        )
        yield path, "robot", SensorPair(first, second)
    for file in sorted((data / "broad").glob("*.npz")):
        held = np.load(file)
        one = InertialRecording(
            held["imu_acc"], held["imu_gyr"], held["imu_mag"], 0.0, 2000 / 7, file.stem
        )
        yield file.stem[:16], "hand", SensorPair(one, replace(one, source=f"{file.stem} again"))


def simulated(seed: int, repeats: int) -> Iterator[tuple[str, str, SensorPair]]:
    """Yield simulated walks."""
    for k, settings in enumerate(SIMULATED * repeats):
        rng = np.random.default_rng([seed, k])
        name = " ".join(f"{key} {value}" for key, value in settings.items())
        yield f"simulated {name}", "knee", simulate_walk(rng=rng, **settings).sensors


def demo(seeds: int) -> Iterator[tuple[str, str, SensorPair]]:
    """Yield one trial of the demo a seed, indoor and outdoor in turn."""
    for seed in range(1, seeds + 1):
        condition = ("indoor", "outdoor")[seed % 2]
        trial = demo_trial(1 + seed % 4, seed=seed, condition=condition, walk_s=40.0)
        yield f"demo seed {seed} {condition}", "knee", trial.sensors


def run_tests(pair: SensorPair, joint: str) -> tuple[Outcome, ...]:
    """Return what every test says of a pair."""
    evidence = Evidence(sensors=pair, joint=joint)
    vars(evidence)["ceilings"] = ((), ())  # none of these saturates; the search takes its time
    return tuple(outcome for test in TESTS for outcome in test(evidence))


def remapped(segment: str, instrument: str, mapping: Array) -> Mistake:
    """Return the mistake of one instrument's channels taken in another way."""

    def change(pair: SensorPair) -> SensorPair | None:
        sensor = getattr(pair, segment)
        values = getattr(sensor, instrument)
        if values is None:
            return None
        return replace(pair, **{segment: replace(sensor, **{instrument: values @ mapping.T})})

    return change


def mistakes() -> Iterator[tuple[str, Mistake]]:
    """Yield the mistakes by kind, those of one kind several times."""
    for segment in ("proximal", "distal"):
        for instrument in ("accelerometer", "gyroscope", "magnetometer"):
            for mapping in SIGNED[1:]:
                order_ = np.abs(mapping).argmax(axis=1)
                signs = mapping.sum(axis=1)
                plain = bool((order_ == np.arange(3)).all())
                if plain and (signs < 0).sum() == 1:
                    yield f"{instrument}: one sign", remapped(segment, instrument, mapping)
                elif plain and (signs < 0).all():
                    yield f"{instrument}: all signs", remapped(segment, instrument, mapping)
                elif (signs > 0).all() and (order_ != np.arange(3)).sum() == 2:
                    yield f"{instrument}: two exchanged", remapped(segment, instrument, mapping)
            if instrument != "magnetometer":
                for factor in (0.5, 0.8, 0.9, 1.1, 1.2, 1.5):
                    yield (
                        f"{instrument}: scale {factor:g}",
                        remapped(segment, instrument, factor * np.eye(3)),
                    )
        yield "frame: left-handed", left_handed(segment)
        yield "accelerometer: no gravity", without_gravity(segment)
    yield "sensors exchanged", lambda pair: SensorPair(pair.distal, pair.proximal)
    yield "one sensor 7 s late", late


def left_handed(segment: str) -> Mistake:
    """Return the mistake of x with the wrong sign in every instrument."""

    def change(pair: SensorPair) -> SensorPair:
        sensor, flip = getattr(pair, segment), np.array([-1.0, 1.0, 1.0])
        field = sensor.magnetometer
        changed = replace(
            sensor,
            accelerometer=sensor.accelerometer * flip,
            gyroscope=sensor.gyroscope * flip,
            magnetometer=None if field is None else field * flip,
        )
        return replace(pair, **{segment: changed})

    return change


def without_gravity(segment: str) -> Mistake:
    """Return the mistake of an accelerometer from which gravity was taken out."""
    from twinangle.plausibility.levelled import vertical_of

    def change(pair: SensorPair) -> SensorPair:
        sensor = getattr(pair, segment)
        linear = sensor.accelerometer - GRAVITY * np.nan_to_num(vertical_of(sensor))
        return replace(pair, **{segment: replace(sensor, accelerometer=linear)})

    return change


def late(pair: SensorPair) -> SensorPair:
    """Return the distal sensor 7 s late, as another recording's would be."""
    shift = round(7 * pair.distal.rate_hz)
    sensor = pair.distal
    field = sensor.magnetometer
    return replace(
        pair,
        distal=replace(
            sensor,
            accelerometer=np.roll(sensor.accelerometer, shift, axis=0),
            gyroscope=np.roll(sensor.gyroscope, shift, axis=0),
            magnetometer=None if field is None else np.roll(field, shift, axis=0),
        ),
    )


def told_by(outcomes: tuple[Outcome, ...]) -> tuple[str, str]:
    """Return the gravest verdict and the first test that gave it."""
    for verdict in ("contradicted", "doubtful"):
        for outcome in outcomes:
            if outcome.verdict == verdict:
                return verdict, outcome.test
    return "passed", ""


def honest_table(recordings: list[tuple[str, str, SensorPair]]) -> None:
    """Print the extremes of each test over honest recordings."""
    values: dict[str, list[float]] = defaultdict(list)
    counts: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    seconds = []
    for name, joint, pair in recordings:
        start = time.process_time()
        outcomes = run_tests(pair, joint)
        seconds.append(time.process_time() - start)
        ran = ", ".join(
            f"{each.test} {each.value:.3g}" for each in outcomes if each.value == each.value
        )
        print(f"{name[:44]:44s} {ran}")
        for each in outcomes:
            counts[each.test][each.verdict] += 1
            if np.isfinite(each.value):
                values[each.test].append(each.value)
            if each.verdict in ("doubtful", "contradicted"):
                print(f"  FALSE ALARM: {each.told}")
    print(f"\n{len(recordings)} honest recordings, CPU {np.median(seconds):.2f} s each (median)")
    print("| test | least | most | tested | doubtful | contradicted |\n|---|---|---|---|---|---|")
    for test, found in counts.items():
        held = values[test] or [float("nan")]
        tested = sum(found.values()) - found["not tested"]
        print(
            f"| {test} | {min(held):.3g} | {max(held):.3g} | {tested} of {sum(found.values())} | "
            f"{found['doubtful']} | {found['contradicted']} |"
        )


def mistake_table(recordings: list[tuple[str, str, SensorPair]], seed: int) -> None:
    """Print how often each mistake is refused, warned of and passed, and which test said so.

    Of the mistakes of one kind, one is drawn for each recording.
    """
    kinds: dict[str, list[Mistake]] = defaultdict(list)
    for kind, change in mistakes():
        kinds[kind].append(change)
    rng = np.random.default_rng(seed)
    print(
        "\n| mistake | tried | refused | warned of | passed | named by |\n|---|---|---|---|---|---|"
    )
    for kind, several in kinds.items():
        verdicts: dict[str, int] = defaultdict(int)
        by: dict[str, int] = defaultdict(int)
        for _, joint, pair in recordings:
            spoiled = several[rng.integers(len(several))](pair)
            if spoiled is not None:
                verdict, test = told_by(run_tests(spoiled, joint))
                verdicts[verdict] += 1
                by[test] += bool(test)
        named = ", ".join(f"{test} {count}" for test, count in by.items() if count)
        counts = [verdicts[each] for each in ("contradicted", "doubtful", "passed")]
        print(f"| {kind} | {sum(counts)} | {' | '.join(map(str, counts))} | {named} |", flush=True)


def assignment_table(recordings: list[tuple[str, str, SensorPair]]) -> None:
    """Print which share of all 47 wrong assignments of axes is refused and warned of."""
    print("\n| instrument | sensors | refused | warned of | passed |\n|---|---|---|---|---|")
    sensors = [s for _, _, pair in recordings for s in (pair.proximal, pair.distal)]
    for instrument, judged in (("accelerometer", _by_gravity), ("magnetometer", _by_field)):
        found = [judged(s) for s in sensors if getattr(s, instrument) is not None]
        every = np.array([one for one in found if one is not None])
        refused = every[..., 0].mean()
        warned = (every[..., 1] & ~every[..., 0]).mean()
        print(
            f"| gyroscope and {instrument} | {len(every)} | {refused:.1%} | {warned:.1%} | "
            f"{1 - refused - warned:.1%} |"
        )


def _by_gravity(sensor: InertialRecording) -> Array | None:
    """Return whether each wrong assignment would be refused and doubted, (47, 2) of bool."""
    vectors = (sensor.gyroscope, sensor.accelerometer, sensor.rate_hz)
    short = scatter_by_mapping(*vectors, WINDOW_S)
    long = scatter_by_mapping(*vectors, LONG_WINDOW_S, LONG_SMOOTH_S)
    if short.n_windows < FEWEST_WINDOWS:
        return None
    usual, means = short.summed(FLOOR_M2_S4), short.mean(FLOOR_M2_S4)
    longer = long.mean(FLOOR_M2_S4) if long.n_windows >= FEWEST_WINDOWS else usual
    found = []
    for k in range(1, len(SIGNED)):
        three = (over_rivals(each, k) for each in (usual, means, longer))
        ratio, doubt, limits = weigh(*three, short.n_windows)
        found.append((ratio.max() > limits[0], doubt.max() > limits[1]))
    return np.array(found)


def _by_field(sensor: InertialRecording) -> Array | None:
    unit = sensor.magnetometer / np.nanmedian(np.linalg.norm(sensor.magnetometer, axis=1))
    scatter = scatter_by_mapping(sensor.gyroscope, unit, sensor.rate_hz, FIELD_WINDOW_S)
    if scatter.n_windows < FEWEST_WINDOWS:
        return None
    summed = scatter.summed(FIELD_FLOOR)
    ratios = np.array([over_rivals(summed, k).max() for k in range(1, len(SIGNED))])
    limits = field_assignment(sensor).limits
    return np.stack([ratios > limits[0], ratios > limits[1]], axis=1)


def mounted_in_ways(seeds: int, ways: int = 8) -> None:
    """Print how honest sensors compare in short walks, each mounted in several ways.

    Walks of 15, 20, 25, 35 and 50 s a seed, the demo's of six people and one of slow strides; the
    first way is the simulation's, the others turn the sensor's frame by rotations drawn once.
    """
    rotations = [Rotation.identity(), *Rotation.random(ways - 1, random_state=3)]
    print("\n| walk, s | sensors | refused | warned of | gravity: most of limit | field |")
    print("|---|---|---|---|---|---|")
    for walk_s in (15.0, 20.0, 25.0, 35.0, 50.0):
        rows = []
        for seed, number in product(range(1, seeds + 1), range(7)):
            trial = _short_walk(number, seed, walk_s)
            within = (
                trial.static, trial.functional,
                Interval(trial.functional.end_s + 3.4, trial.sensors.proximal.time_s[-1] - 2.9),
            )  # fmt: skip
            for sensor in (trial.sensors.proximal, trial.sensors.distal):
                for part in (sensor, masked(sensor, within)):  # the file; what a trial rests on
                    rows += [_compared(turned_frame(part, turn)) for turn in rotations]
        found = [row for row in rows if np.isfinite(row[0].ratio)]
        refused = sum(one.contradicts or field.contradicts for one, field in found)
        doubted = sum(one.doubtful or field.doubtful for one, field in found)
        most = [max(row[k].ratio / row[k].limits[0] for row in found) for k in range(2)]
        print(
            f"| {walk_s:g} | {len(found)} | {refused} | {doubted - refused} | {most[0]:.2f} | "
            f"{most[1]:.2f} |",
            flush=True,
        )


def _short_walk(number: int, seed: int, walk_s: float) -> SimulatedTrial:
    """Return the walk of one of the demo's people; of number 0 one with strides of 1.5 s."""
    if number == 0:
        rng = np.random.default_rng([seed, round(walk_s)])
        return simulate_walk(rng=rng, walk_s=walk_s, **SLOW)
    return demo_trial(
        number, seed=seed, walk_s=walk_s, placement_sd_deg=2.0, hatch_deg=0.0,
        condition=("indoor", "outdoor")[(seed + number) % 2], session=1 + seed % 2,
    )  # fmt: skip


def _compared(sensor: InertialRecording) -> tuple[Assignment, Assignment]:
    return gravity_assignment(sensor), field_assignment(sensor)


def turned_frame(sensor: InertialRecording, turn: Rotation) -> InertialRecording:
    """Return what a sensor would have recorded in a frame turned within its case."""
    names = ("accelerometer", "gyroscope", "magnetometer")
    return replace(sensor, **{name: getattr(sensor, name) @ turn.as_matrix().T for name in names})


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--data", type=Path, default=Path("../shared/data"))
    parser.add_argument("--repeats", type=int, default=1, help="simulated walks of each kind")
    parser.add_argument("--demo-seeds", type=int, default=50)
    parser.add_argument("--mistakes-only", action="store_true")
    parser.add_argument("--honest-only", action="store_true")
    parser.add_argument("--mounted", type=int, metavar="SEEDS", help="short walks alone")
    chosen = parser.parse_args()
    if chosen.mounted:
        mounted_in_ways(chosen.mounted)
        return
    real = list(recorded(chosen.data)) if chosen.data.exists() else []
    invented = list(simulated(chosen.seed, chosen.repeats))
    if not chosen.mistakes_only:
        honest_table([*real, *invented, *demo(chosen.demo_seeds)])
    if not chosen.honest_only:
        chosen_ones = [*real[:5], *(invented[k] for k in (4, 6, 9))]
        assignment_table([*real[:5], *invented])
        mistake_table(chosen_ones, chosen.seed)


if __name__ == "__main__":
    main()
