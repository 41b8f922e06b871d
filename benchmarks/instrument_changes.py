"""Instruments that change during a recording: what is caught, what is named, no honest alarm.

Run with ``python -m benchmarks.instrument_changes [--walks 12] [--honest 40] [--seed 1]
[--data ../shared/data]``. Prints, over honest recordings, the extremes of each test and how often
it spoke; then, for each mistake put into simulated walks, the share refused, warned of and passed,
and the share in which the cause was named first. About 6 CPU-minutes.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.signal import butter, lfilter, lfilter_zi
from scipy.spatial.transform import Rotation

from twinangle.clocks import manual
from twinangle.plausibility.amplitude import reference_amplitude
from twinangle.plausibility.bursts import reference_bursts
from twinangle.plausibility.channels import saturated_channels
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.fit import reference_fit
from twinangle.plausibility.mounting import mounting_steps
from twinangle.plausibility.offset import reference_offset
from twinangle.plausibility.outcome import Outcome
from twinangle.plausibility.stood_still import quiet_standing
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    InertialRecording,
    Interval,
    SensorPair,
)
from twinangle.simulate import simulate_walk

TESTS = (
    saturated_channels,
    quiet_standing,
    mounting_steps,
    reference_fit,
    reference_amplitude,
    reference_offset,
    reference_bursts,
)
# Quiet standing, s; two of the six hold shank channels that were made from the motion capture.
WALKS = {
    "ccw_fast_01": (16.305, 17.8),
    "ccw_normal_01": (25.83, 27.83),
    "ccw_normal_02": (25.525, 26.86),
    "ccw_slow_04": (28.355, 29.45),
    "cw_normal_01": (31.855, 34.165),
    "cw_slow_05": (36.68, 39.41),
}
MADE_UP = ("ccw_normal_01", "ccw_slow_04")
CHANNELS = ("accelerometer", "gyroscope", "magnetometer")


class Scene:
    """One simulated trial, a moment amid its walk, and a generator for what is drawn."""

    def __init__(self, seed: int, number: int) -> None:
        self.rng = np.random.default_rng([seed, number, 1])
        self.walk = simulate_walk(rng=np.random.default_rng([seed, number]), **settings(number))
        again = simulate_walk(rng=np.random.default_rng([seed, number, 2]), **settings(number))
        assert again.reference is not None
        self.other = again.reference.angle_deg  # of the same person on another day
        walking = self.walk.truth.walking
        self.time_s = float(
            walking.start_s + self.rng.uniform(0.25, 0.75) * (walking.end_s - walking.start_s)
        )
        assert self.walk.reference is not None
        self.evidence = Evidence(
            sensors=self.walk.sensors,
            reference=self.walk.reference,
            clock=manual(self.walk.truth.lag_s, self.walk.truth.drift_ppm),
            static=self.walk.static,
            functional=self.walk.functional,
        )

    @property
    def first_of_reference(self) -> int:
        """The reference's first sample after the moment."""
        assert self.evidence.reference is not None
        reference = self.evidence.reference
        return int((self.time_s - self.walk.truth.lag_s) * reference.rate_hz)

    def reference(self, change: Callable[[Array], Array]) -> Evidence:
        """Return the evidence with the reference's angle changed."""
        assert self.evidence.reference is not None
        angle = change(self.evidence.reference.angle_deg.copy())
        return replace(self.evidence, reference=replace(self.evidence.reference, angle_deg=angle))

    def sensors(self, change: Callable[[InertialRecording], InertialRecording]) -> Evidence:
        """Return the evidence with both sensors changed."""
        pair = self.walk.sensors
        return replace(
            self.evidence, sensors=SensorPair(change(pair.proximal), change(pair.distal))
        )


def settings(number: int) -> dict[str, Any]:
    """Return what differs from walk to walk: rates, iron, skin, axis, strides, turns, size."""
    return {
        "rate_hz": (50.0, 100.0, 128.0, 200.0, 400.0)[number % 5],
        "reference_rate_hz": (100.0, 200.0, 50.0)[number // 4 % 3],
        "walk_s": (40.0, 75.0, 60.0)[number % 3],
        "floor_ut": (0.0, 10.0, 25.0)[number % 3],
        "soft_tissue_deg": (0.0, 1.0, 2.0, 3.0)[number % 4],
        "out_of_plane_deg": (0.0, 4.0, 8.0)[number // 2 % 3],
        "stride_s": (0.95, 1.1, 1.4)[number // 3 % 3],
        "swing_peak_deg": (59.0, 45.0, 68.0)[number // 2 % 3],
        "weave_deg": (0.0, 5.0)[number % 2],
        "gyroscope_sample": ("instantaneous", "interval-mean")[number % 2],
    }


def examined(evidence: Evidence) -> tuple[Outcome, ...]:
    """Return what every test says, without the search for ceilings where none was put in."""
    return tuple(outcome for test in TESTS for outcome in test(evidence))


def open_recordings(data: Path) -> Iterator[tuple[str, Evidence]]:
    """Yield the open pairs: walks with the thigh's accelerometer mended, jumps, a robot's joint."""
    folder = data / "walking-knee-optical"
    for name, standing in WALKS.items():
        imu = pd.read_csv(folder / f"{name}_imu.csv.gz")
        knee = pd.read_csv(folder / f"{name}_knee.csv.gz")
        start_s = float(imu["time_s"].iloc[0])
        thigh = sensor(imu, "thigh_", 200.0, start_s, force=-9.80665)
        shank = sensor(imu, "shank_", 200.0, start_s, force=9.80665)
        if name in MADE_UP:
            shank = replace(shank, gyroscope=-shank.gyroscope)
        angle = AngleRecording(-knee["knee_angle_r"].to_numpy(), start_s, 200.0, name)
        late_s = 0.009 if name in MADE_UP else 0.017  # of the sensors behind the cameras
        yield (
            name,
            Evidence(
                sensors=SensorPair(thigh, shank),
                reference=angle,
                clock=manual(late_s),
                static=Interval(*standing),
            ),
        )
    folder = data / "knee-jump-left"
    shank, thigh = (
        replace(
            sensor(pd.read_csv(folder / f"left_segment_{each}_imu.csv"), "", 100.0, 0.0),
            gyroscope_sample="interval-mean",
        )
        for each in "ab"
    )
    optical = -pd.read_csv(folder / "left_knee_optical.csv")["x_deg"].to_numpy()
    yield (
        "jumps",
        Evidence(
            sensors=SensorPair(thigh, shank),
            reference=AngleRecording(optical, 0.0, 100.0, "optical"),
            clock=manual(0.0),
            static=Interval(0.0, 1.0),
        ),
    )
    for task in ("circle_150", "triangle_250"):
        yield task, robot(data / "robot-joint-imu", task)


def robot(folder: Path, task: str) -> Evidence:
    """Return a robot's joint: the controller's relative orientation about its main axis."""
    tables = [pd.read_csv(folder / f"{task}_segment_{k}.csv") for k in (1, 2)]
    sensors = (
        replace(sensor(table, "", 125.0, 0.0), gyroscope_sample="interval-mean") for table in tables
    )
    links = [
        Rotation.from_quat(table[[f"ref_q{axis}" for axis in "wxyz"]], scalar_first=True)
        for table in tables
    ]
    relative = links[0].inv() * links[1]
    turned = (relative[0].inv() * relative).as_rotvec(degrees=True)
    axis = np.linalg.svd(turned - turned.mean(axis=0), full_matrices=False)[2][0]
    angle = AngleRecording(turned @ axis, 0.0, 125.0, task)
    return Evidence(sensors=SensorPair(*sensors), reference=angle, clock=manual(0.0))


def sensor(
    table: pd.DataFrame, prefix: str, rate_hz: float, start_s: float, *, force: float = 1.0
) -> InertialRecording:
    """Return a sensor from columns like `thigh_acc_x`, the accelerometer times `force`."""
    values, rate = (
        table[[f"{prefix}{part}_{axis}" for axis in "xyz"]].to_numpy(float)
        for part in ("acc", "gyr")
    )
    return InertialRecording(force * values, rate, None, start_s, rate_hz, prefix or "sensor")


def mistakes(scene: Scene) -> Iterator[tuple[str, str, Evidence]]:
    """Yield each mistake: its kind, the tests that name it (any of them), and the evidence."""
    yield from slips(scene)
    first, rate_hz = scene.first_of_reference, scene.evidence.reference.rate_hz
    for size in (5.0, 10.0, 20.0):
        yield (
            f"reference slips by {size:g}°",
            "offset step",
            scene.reference(lambda a, d=size: a + d * (np.arange(a.size) >= first)),
        )
    for gain in (0.8, 1.2):
        yield f"reference's gain {gain:g}", "amplitude", scene.reference(lambda a, g=gain: g * a)
    for level in (100.0, 150.0, 200.0, 300.0):
        yield (
            f"gyroscopes cut at {level:g} °/s",
            "channels",
            scene.sensors(
                lambda s, v=level * np.pi / 180: replace(s, gyroscope=s.gyroscope.clip(-v, v))
            ),
        )
    for level in (30.0, 45.0, 60.0):
        yield (
            f"reference cut at {level:g}°",
            "channels",
            scene.reference(lambda a, v=level: np.minimum(a, v)),
        )
    for cutoff in (3.0, 6.0):
        yield (
            f"reference low-passed at {cutoff:g} Hz",
            "delay, fast movement",
            scene.reference(lambda a, c=cutoff: low_passed(a, c, rate_hz)),
        )
    for lost in (0.1, 0.3, 0.5):
        count = round(lost * rate_hz)
        yield (
            f"{lost:g} s lost in the reference",
            "lost samples",
            scene.reference(lambda a, n=count: np.delete(a, slice(first, first + n))),
        )
        yield (
            f"{lost:g} s lost in the wearable",
            "lost samples",
            scene.sensors(lambda s, t=lost: without(s, scene.time_s, t)),
        )
    strange = scene.other
    n = min(strange.size, scene.evidence.reference.angle_deg.size)
    yield (
        "another recording's reference from there",
        "parts",
        scene.reference(lambda a: np.concatenate([a[:first], strange[first:n]])),
    )
    yield from standings(scene)


def slips(scene: Scene) -> Iterator[tuple[str, str, Evidence]]:
    """Yield slips of each sensor about a random axis, with and without the reference."""
    for size in (5.0, 10.0, 15.0, 20.0):
        for segment in ("proximal", "distal"):
            axis = scene.rng.standard_normal(3)
            turn = Rotation.from_rotvec(np.radians(size) * axis / np.linalg.norm(axis)).as_matrix()
            one = getattr(scene.walk.sensors, segment)
            late = (one.time_s >= scene.time_s)[:, None]
            slipped = replace(
                one,
                **{name: np.where(late, v @ turn.T, v) for name, v in channels(one).items()},
            )
            evidence = replace(
                scene.evidence, sensors=replace(scene.walk.sensors, **{segment: slipped})
            )
            yield f"sensor slips by {size:g}°", f"{segment} sensor", evidence
            alone = replace(evidence, reference=None, clock=None)
            yield f"sensor slips by {size:g}°, no reference", f"{segment} sensor", alone


def standings(scene: Scene) -> Iterator[tuple[str, str, Evidence]]:
    """Yield neutral standing taken where the person moved."""
    static, functional = scene.walk.static, scene.walk.functional
    for kind, part in (
        ("standing while walking", Interval(scene.time_s, scene.time_s + 4)),
        ("standing in the functional movement", Interval(functional.start_s, functional.end_s)),
        ("standing runs 3 s into the movement", Interval(static.end_s - 3, functional.start_s + 3)),
    ):
        yield kind, "standing", replace(scene.evidence, static=part)


def channels(one: InertialRecording) -> dict[str, Array]:
    """Return a sensor's channels by name."""
    return {name: getattr(one, name) for name in CHANNELS if getattr(one, name) is not None}


def without(one: InertialRecording, time_s: float, lost_s: float) -> InertialRecording:
    """Return a sensor that lost samples without a mark."""
    first, count = round(time_s * one.rate_hz), round(lost_s * one.rate_hz)
    gone = slice(first, first + count)
    return replace(one, **{name: np.delete(v, gone, 0) for name, v in channels(one).items()})


def low_passed(angle: Array, cutoff_hz: float, rate_hz: float) -> Array:
    """Return an angle as a second-order filter that runs while recording leaves it."""
    b, a = butter(2, cutoff_hz, fs=rate_hz)
    return np.asarray(lfilter(b, a, angle, zi=lfilter_zi(b, a) * angle[0])[0])


def honest_table(recordings: list[tuple[str, Evidence]]) -> None:
    """Print the extremes of each test over honest recordings, and every alarm."""
    values: dict[str, list[float]] = defaultdict(list)
    counts: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for name, evidence in recordings:
        for each in examined(evidence):
            counts[each.test][each.verdict] += 1
            if np.isfinite(each.value):
                values[each.test].append(each.value)
            if each.verdict in ("doubtful", "contradicted"):
                print(f"{each.verdict} {name}: {each.told}")
    print(f"\n{len(recordings)} honest recordings")
    print("| test | least | most | tested | doubtful | contradicted |\n|---|---|---|---|---|---|")
    for test, found in counts.items():
        held = values[test] or [float("nan")]
        total = sum(found.values())
        print(
            f"| {test} | {min(held):.3g} | {max(held):.3g} | {total - found['not tested']} of "
            f"{total} | {found['doubtful']} | {found['contradicted']} |"
        )


def mistake_table(scenes: list[Scene]) -> None:
    """Print how often each mistake was refused, warned of and passed, and named by its cause."""
    found: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for scene in scenes:
        for kind, named, evidence in mistakes(scene):
            if "gyroscopes" not in kind:  # nothing is cut, and the search takes its time
                vars(evidence)["ceilings"] = ((), ())
            told = [
                each for each in examined(evidence) if each.verdict in ("doubtful", "contradicted")
            ]
            verdicts = {each.verdict for each in told}
            gravest = next((v for v in ("contradicted", "doubtful") if v in verdicts), "passed")
            found[kind][gravest] += 1
            found[kind]["named"] += bool(told) and (
                told[0].test in named.split(", ") or told[0].subject == named
            )
    print("\n| mistake | tried | refused | warned of | passed | cause named first |")
    print("|---|---|---|---|---|---|")
    for kind, of in found.items():
        n = of["contradicted"] + of["doubtful"] + of["passed"]
        print(
            f"| {kind} | {n} | {of['contradicted']} | {of['doubtful']} | {of['passed']} | "
            f"{of['named']} |"
        )


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--walks", type=int, default=12, help="walks to put mistakes into")
    parser.add_argument("--honest", type=int, default=40, help="honest simulated walks")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--data", type=Path, default=Path("../shared/data"))
    chosen = parser.parse_args()
    honest = list(open_recordings(chosen.data)) if chosen.data.exists() else []
    honest += [
        (f"simulated {k}", Scene(chosen.seed, 1000 + k).evidence) for k in range(chosen.honest)
    ]
    honest_table(honest)
    mistake_table([Scene(chosen.seed, k) for k in range(chosen.walks)])


if __name__ == "__main__":
    main()
