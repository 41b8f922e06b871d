"""Orientation filters: errors against optical tracking, time per sample, peak memory.

    python benchmarks/orientation.py            errors, speed, and memory on 2 h of two sensors
    python benchmarks/orientation.py --hours 24 the same with 24 h of two sensors at 100 Hz

Baseline: the `vqf` library (compiled C++; Laidig & Seel 2023, Inf Fusion 91:187), default settings,
run beside ours on the same signals. Errors: the six trials of Laidig et al. 2021, Data 6:72, in
../shared/data/broad; root mean square over the motion phases, mean over trials. Memory and time on
long recordings: `kalman` on each of two sensors that swing, and both oriented jointly on a
simulated walk repeated end to end.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import InertialRecording, SensorPair
from twinangle.simulate import simulate_walk
from twinangle.wearable.heading.two_sensors import orient_jointly
from twinangle.wearable.orientation import (
    OrientationFilter,
    kalman,
    kalman_forward,
    vqf_forward,
    vqf_offline,
)

FOLDER = Path(__file__).resolve().parents[1] / "../shared/data/broad"
Trial = tuple[InertialRecording, NDArray[np.float64], NDArray[np.bool_]]
PAIRS: tuple[tuple[str, OrientationFilter, OrientationFilter], ...] = (
    ("order of time", kalman_forward, vqf_forward),
    ("whole recording", kalman, vqf_offline),
)


def read_trials() -> list[Trial]:
    trials = []
    for path in sorted(FOLDER.glob("*.npz")):
        data = np.load(path)
        sensor = InertialRecording(
            accelerometer=data["imu_acc"],
            gyroscope=data["imu_gyr"],
            magnetometer=data["imu_mag"],
            start_s=0.0,
            rate_hz=float(data["sampling_rate"]),
            source=path.stem,
            gyroscope_sample="interval-mean",
        )
        trials.append((sensor, data["opt_quat"], data["movement"].astype(bool)))
    return trials


def errors_deg(estimate: OrientationFilter, trial: Trial) -> NDArray[np.float64]:
    """Root mean square of total, heading and inclination error over the motion phases."""
    sensor, optical, movement = trial
    use = movement & np.isfinite(optical).all(axis=1)
    found = Rotation.from_quat(estimate(sensor).quaternion[use], scalar_first=True)
    x, y, z, w = (found * Rotation.from_quat(optical[use], scalar_first=True).inv()).as_quat().T
    total = 2 * np.arctan2(np.sqrt(x**2 + y**2 + z**2), np.abs(w))
    heading = 2 * np.arctan(np.abs(z / w))
    inclination = 2 * np.arctan2(np.hypot(x, y), np.hypot(w, z))
    parts = np.stack([total, heading, inclination])
    return np.asarray(np.degrees(np.sqrt(np.mean(parts**2, axis=1))))


def print_errors(trials: list[Trial]) -> None:
    print("errors in degrees: total / heading / inclination")
    for sensor, *_ in trials:
        print(f"  {sensor.source}")
    for name, ours, library in PAIRS:
        for label, estimate in (("ours", ours), ("vqf", library)):
            each = np.array([errors_deg(estimate, trial) for trial in trials])
            mean = " / ".join(f"{v:.2f}" for v in each.mean(axis=0))
            print(f"{name:16s} {label:5s} {mean}   total by trial {np.round(each[:, 0], 2)}")


def print_compile_time() -> None:
    """Time a first call in a new process with an empty cache, and one with the cache filled."""
    code = (
        "import time, numpy as np\n"
        "from twinangle.signals.recording import InertialRecording\n"
        "from twinangle.wearable.orientation import kalman, kalman_forward\n"
        "r = np.random.default_rng(1)\n"
        "a, g, m = (r.normal(v, 0.1, (2000, 3)) for v in (5, 0, 30))\n"
        "s = InertialRecording(a, g, m, 0.0, 100.0, 'noise')\n"
        "t, c = time.perf_counter(), time.process_time()\n"
        "kalman(s), kalman_forward(s)\n"
        "print(f'{time.perf_counter() - t:.1f} s ({time.process_time() - c:.1f} s of processor)')\n"
    )
    with tempfile.TemporaryDirectory() as cache:
        environment = {**os.environ, "NUMBA_CACHE_DIR": cache}
        for label in ("first call ever, compiling", "first call from the cache"):
            result = subprocess.run(
                [sys.executable, "-c", code],
                env=environment,
                check=True,
                capture_output=True,
                text=True,
            )
            print(f"{label}: {result.stdout.strip()}")


def print_speed(sensor: InertialRecording) -> None:
    print(f"time per sample on {sensor.n_samples} samples, best of 10 alternating runs, compiled")
    for name, ours, library in PAIRS:
        best = {ours: np.inf, library: np.inf}
        for estimate in best:
            estimate(sensor)
        for _ in range(10):
            for estimate in best:
                started = time.perf_counter()
                estimate(sensor)
                best[estimate] = min(best[estimate], time.perf_counter() - started)
        ns = {k: v / sensor.n_samples * 1e9 for k, v in best.items()}
        ratio = ns[library] / ns[ours]
        print(f"{name:16s} ours {ns[ours]:5.0f} ns   vqf {ns[library]:5.0f} ns   ratio {ratio:.1f}")


def print_memory(hours: float) -> None:
    """Peak resident memory of a new process with two sensors at 100 Hz, against its raw arrays."""
    for what in MEASURED:
        command = [sys.executable, __file__, "--measure-memory", what, "--hours", str(hours)]
        result = subprocess.run(command, check=True, capture_output=True, text=True)
        print(result.stdout.strip())


def each_alone(pair: SensorPair) -> list[NDArray[np.float64]]:
    return [kalman(sensor).quaternion for sensor in (pair.proximal, pair.distal)]


def both_together(pair: SensorPair) -> list[NDArray[np.float64]]:
    found = orient_jointly(pair)
    if not found.joint:
        raise RuntimeError(f"the two sensors were oriented one by one: {found.warnings}")
    return [found.pair.proximal.quaternion, found.pair.distal.quaternion]


MEASURED: dict[str, Callable[[SensorPair], list[NDArray[np.float64]]]] = {
    "kalman": each_alone,
    "kalman-two-sensors": both_together,
}


def measure_memory(what: str, hours: float) -> None:
    import resource  # not on every system

    if what == "kalman":
        turning = _turning(60 * 100, np.random.default_rng(1))
        short = SensorPair(turning, turning)
    else:
        short = simulate_walk(
            rng=np.random.default_rng(1), walk_s=600.0, floor_ut=5.0, with_reference=False
        ).sensors
    MEASURED[what](short)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    times = int(hours * 3600 * 100 / short.proximal.n_samples)
    pair = SensorPair(_repeated(short.proximal, times), _repeated(short.distal, times))
    raw = 2 * 9 * 8 * pair.proximal.n_samples
    started = time.perf_counter()
    kept = MEASURED[what](pair)
    seconds = time.perf_counter() - started
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    finite = all(np.isfinite(q).all() for q in kept)
    started = time.perf_counter()
    for sensor in (pair.proximal, pair.distal):
        vqf_offline(sensor)
    library = time.perf_counter() - started
    print(
        f"memory, `{what}` on {hours:g} h of two sensors at 100 Hz: raw arrays {raw / 1e6:.0f} MB, "
        f"peak {peak / 1e6:.0f} MB = {peak / raw:.2f} times raw ({before / 1e6:.0f} MB before any "
        f"signal); {seconds:.1f} s, vqf offline {library:.1f} s; all orientations finite: {finite}"
    )


def _repeated(sensor: InertialRecording, times: int) -> InertialRecording:
    return replace(
        sensor,
        accelerometer=np.tile(sensor.accelerometer, (times, 1)),
        gyroscope=np.tile(sensor.gyroscope, (times, 1)),
        magnetometer=np.tile(sensor.magnetometer, (times, 1)),  # type: ignore[arg-type]
    )


def _turning(count: int, rng: np.random.Generator) -> InertialRecording:
    """Simulate a sensor swinging about one axis; whole minutes repeat end to end."""
    time_s = np.arange(count) / 100
    angle = 0.5 * np.sin(2 * np.pi * time_s)
    swing = Rotation.from_rotvec(angle[:, None] * [0, 1.0, 0]).inv()
    rate = np.pi * np.cos(2 * np.pi * time_s)[:, None] * [0, 1.0, 0]
    return InertialRecording(
        accelerometer=swing.apply([0, 0, 9.81]) + rng.normal(0, 0.05, (count, 3)),
        gyroscope=rate + rng.normal(0, 0.002, (count, 3)),
        magnetometer=swing.apply([0, 20.0, -40.0]) + rng.normal(0, 0.5, (count, 3)),
        start_s=0.0,
        rate_hz=100.0,
        source="swing",
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=2.0, help="length of the memory run")
    parser.add_argument("--measure-memory", choices=MEASURED, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.measure_memory is not None:
        measure_memory(options.measure_memory, options.hours)
        return
    print_compile_time()
    trials = read_trials()
    if trials:
        print_errors(trials)
        print_speed(trials[0][0])
    else:
        print("../shared/data/broad is absent: no errors, speed on a simulated swing")
        print_speed(_turning(60_000, np.random.default_rng(1)))
    print_memory(options.hours)


if __name__ == "__main__":
    main()
