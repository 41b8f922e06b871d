"""Honest recordings: how many are refused, and what is warned of, by kind.

    python benchmarks/false_alarms.py [SOURCE ...] [--seeds N]      every source, 50 seeds
    python benchmarks/false_alarms.py --write [SOURCE ...]  and rows in docs/reference/mistakes.md

Sources: `demo` (the invented demo, one participant and both conditions a seed), `simulated` (walks
at 50 to 400 Hz, clean, over iron in the floor, with soft tissue, with a knee that leaves its hinge
plane; a tenth of the seeds each), `goniometers` (22 real knees, alone), `pairs` (the same as both
instruments, the second on another clock and with a reading error of 1°), `jumps` (two real sensors
and an optical knee), `walks` (real walks with an optical
knee, the published wrong sign of one accelerometer mended; the three without made-up channels).

Real recordings are read from `../shared/data` and left out by name where they are absent: their
licences do not let them stand here. The baseline is the list itself: every one is a recording as it
should be, so that each refusal is a good recording thrown away, and each grave warning a false one.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from twinangle import read_study
from twinangle.analysis import analyse_trial
from twinangle.errors import TwinangleError
from twinangle.notices import gravity_of, kind_of
from twinangle.results import TrialResult
from twinangle.simulate import SimulatedTrial, simulate_walk, write_demo_study

Array = NDArray[np.float64]
DOCS = Path(__file__).resolve().parents[1] / "docs" / "reference" / "mistakes.md"
BEGIN = "<!-- the rows below are written by benchmarks/false_alarms.py --write -->\n\n"
HEAD = (
    "| recordings | seeds | analysed | refused | grave warnings | other warnings |\n"
    "| --- | --- | --- | --- | --- | --- |\n"
)
DATA = Path(__file__).resolve().parents[2] / "shared" / "data"
XYZ = ("x", "y", "z")
GRID: tuple[tuple[str, dict[str, Any]], ...] = (
    ("clean", {}),
    ("iron in the floor, 13 µT", {"floor_ut": 13.0}),
    ("iron in the floor, 20 µT", {"floor_ut": 20.0}),
    ("soft tissue 3°", {"soft_tissue_deg": 3.0}),
    ("knee out of plane 4°", {"out_of_plane_deg": 4.0, "floor_ut": 5.0}),
)
RATES_HZ = (50.0, 100.0, 200.0, 400.0)


def study_text(wearable: str, reference: str = "", more: str = "") -> str:
    return f"""[study]
title = "Honest"
joint = "knee"
trials = "trials.csv"
[wearable]
{wearable}
{reference}
{more}"""


def sensors_text(procedure: str, units: tuple[str, str, str | None], more: str = "") -> str:
    """Return a [wearable] section for columns such as thigh_acc_x."""
    lines = ['kind = "inertial"', 'time = "time_s"', f'procedures = ["{procedure}"]', more]
    names = [("accelerometer", "acc"), ("gyroscope", "gyr")]
    names += [("magnetometer", "mag")] if units[2] else []
    for part, segment in (("proximal", "thigh"), ("distal", "shank")):
        lines.append(f"[wearable.{part}]")
        for instrument, short in names:
            columns = ", ".join(f'"{segment}_{short}_{axis}"' for axis in XYZ)
            lines.append(f"{instrument} = [{columns}]")
    lines.append("[wearable.units]")
    lines += [f'{name} = "{unit}"' for (name, _), unit in zip(names, units, strict=False)]
    return "\n".join(lines)


ANGLE = '[reference]\nkind = "angle"\ntime = "time_s"\nangle = "knee_deg"\nsign = {sign}'


def write(folder: Path, text: str, rows: list[dict[str, object]]) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    pd.DataFrame(rows).to_csv(folder / "trials.csv", index=False)
    return folder / "study.toml"


def demo(place: Path, seeds: int) -> Iterator[tuple[str, Path]]:
    for seed in range(seeds):
        path = write_demo_study(place / f"demo{seed}", seed=seed, participants=1, walk_s=60.0)
        text = path.read_text(encoding="utf-8")
        text = text.replace('["kalman-two-sensors", "kalman-forward"]', '["kalman"]')
        path.write_text(text, encoding="utf-8")
        yield "demo", path


def frame_of(trial: SimulatedTrial) -> pd.DataFrame:
    sensors = (("thigh", trial.sensors.proximal), ("shank", trial.sensors.distal))
    rate = trial.sensors.proximal.rate_hz
    found: dict[str, Array] = {"time_s": np.arange(trial.sensors.proximal.n_samples) / rate}
    for segment, sensor in sensors:
        signals = (sensor.accelerometer, sensor.gyroscope, np.asarray(sensor.magnetometer))
        for short, values in zip(("acc", "gyr", "mag"), signals, strict=True):
            found |= {f"{segment}_{short}_{axis}": values[:, k] for k, axis in enumerate(XYZ)}
    return pd.DataFrame(found)


def simulated(place: Path, seeds: int) -> Iterator[tuple[str, Path]]:
    text = study_text(
        sensors_text("kalman", ("m/s^2", "rad/s", "uT")),
        ANGLE.format(sign=1),
    )
    for label, changes in GRID:
        for rate_hz in RATES_HZ:
            for seed in range(max(1, seeds // 10)):
                rng = np.random.default_rng([seed, int(rate_hz)])
                trial = simulate_walk(rng=rng, walk_s=60.0, rate_hz=rate_hz, **changes)
                folder = place / f"{label}{rate_hz:g}{seed}"
                folder.mkdir()
                frame_of(trial).round(5).to_csv(folder / "w.csv", index=False)
                assert trial.reference is not None
                angle = trial.reference.angle_deg
                time_s = np.arange(angle.size) / trial.reference.rate_hz
                pd.DataFrame({"time_s": time_s, "knee_deg": angle}).to_csv(
                    folder / "r.csv", index=False
                )
                row = {
                    "participant": "S1", "wearable": "w.csv", "reference": "r.csv",
                    "static_start_s": trial.static.start_s, "static_end_s": trial.static.end_s,
                    "functional_start_s": trial.functional.start_s,
                    "functional_end_s": trial.functional.end_s,
                }  # fmt: skip
                yield f"simulated: {label}", write(folder, text, [row])


def _gait_files() -> pd.DataFrame:
    return pd.read_csv(DATA / "goniometer-gait-22" / "summary.csv")


def goniometers(place: Path, _: int) -> Iterator[tuple[str, Path]]:
    for sign, files in _gait_files().groupby("sign_of_flexion"):
        folder = place / f"goniometers{sign}"
        folder.mkdir()
        rows = []
        for k, name in enumerate(files["file"]):
            (folder / name).write_bytes((DATA / "goniometer-gait-22" / name).read_bytes())
            rows.append({"participant": f"G{k}", "wearable": name})
        wearable = f'kind = "angle"\nrate_hz = 1000\nangle = "knee_deg"\nsign = {sign}'
        yield "goniometers", write(folder, study_text(wearable), rows)


def pairs(place: Path, _: int) -> Iterator[tuple[str, Path]]:
    rng = np.random.default_rng(0)
    for sign, files in _gait_files().groupby("sign_of_flexion"):
        folder = place / f"pairs{sign}"
        folder.mkdir()
        rows: list[dict[str, object]] = []
        for k, name in enumerate(files["file"]):
            raw = pd.read_csv(DATA / "goniometer-gait-22" / name)["knee_deg"].to_numpy()
            time_s = np.arange(raw.size) / 1000
            own_s = np.arange(0.5, time_s[-1] - 0.5, 0.005)  # another clock: 0.5 s on, 40 ppm
            seen = np.interp(own_s * (1 + 40e-6), time_s, raw)
            seen = seen + rng.normal(0, 1.0, seen.size)
            other = f"reference_{k}.csv"
            pd.DataFrame({"time_s": time_s, "knee_deg": raw}).to_csv(folder / name, index=False)
            pd.DataFrame({"time_s": own_s - 0.5, "knee_deg": seen}).to_csv(
                folder / other, index=False
            )
            rows.append({"participant": f"G{k}", "wearable": name, "reference": other})
        wearable = f'kind = "angle"\ntime = "time_s"\nangle = "knee_deg"\nsign = {sign}'
        more = "[synchronisation]\nmax_lag_s = 2.0"
        yield "pairs", write(folder, study_text(wearable, ANGLE.format(sign=sign), more), rows)


def jumps(place: Path, _: int) -> Iterator[tuple[str, Path]]:
    folder, source = place / "jumps", DATA / "knee-jump-left"
    folder.mkdir()
    columns: dict[str, Any] = {"time_s": np.arange(6671) / 100}
    for segment, letter in (("thigh", "b"), ("shank", "a")):
        sensor = pd.read_csv(source / f"left_segment_{letter}_imu.csv")
        for short in ("acc", "gyr", "mag"):
            columns |= {f"{segment}_{short}_{a}": sensor[f"{short}_{a}"] for a in XYZ}
    pd.DataFrame(columns).to_csv(folder / "w.csv", index=False)
    optical = pd.read_csv(source / "left_knee_optical.csv")
    time_s, angle = (optical["frame"] - 1) / 100, optical["x_deg"]
    pd.DataFrame({"time_s": time_s, "knee_deg": angle}).to_csv(folder / "r.csv", index=False)
    rising = np.flatnonzero((-angle.to_numpy()[:-1] < 30) & (-angle.to_numpy()[1:] >= 30))
    apart = rising[np.append(True, np.diff(rising) > 250)]
    pd.DataFrame({"time_s": apart / 100}).to_csv(folder / "events.csv", index=False)
    text = study_text(
        sensors_text(
            "kalman", ("m/s^2", "rad/s", "normalised"), 'gyroscope_sample = "interval-mean"'
        ),
        ANGLE.format(sign=-1),
        '[cycles]\nmethod = "events"',
    )
    row = {"participant": "J1", "wearable": "w.csv", "reference": "r.csv", "events": "events.csv",
           "static_start_s": 0, "static_end_s": 1, "functional_start_s": 0,
           "functional_end_s": 66}  # fmt: skip
    yield "jumps", write(folder, text, [row])


WALKS = {
    "ccw_fast_01": (16.305, 17.8),
    "cw_normal_01": (31.855, 34.165),
    "cw_slow_05": (36.68, 39.41),
}


def walks(place: Path, _: int) -> Iterator[tuple[str, Path]]:
    source = DATA / "walking-knee-optical"
    for name, (start_s, end_s) in WALKS.items():
        folder = place / name
        folder.mkdir()
        sensors = pd.read_csv(source / f"{name}_imu.csv.gz")
        sensors[[f"thigh_acc_{axis}" for axis in XYZ]] *= -1.0
        sensors.to_csv(folder / "w.csv", index=False)
        knee = pd.read_csv(source / f"{name}_knee.csv.gz")
        pd.DataFrame({"time_s": knee.iloc[:, 0], "knee_deg": knee.iloc[:, 1]}).to_csv(
            folder / "r.csv", index=False
        )
        text = study_text(
            sensors_text("kalman-joint-centre", ("g", "rad/s", None)),
            ANGLE.format(sign=-1),
            "[synchronisation]\nmax_lag_s = 1.0",
        )
        row = {"participant": "W1", "wearable": "w.csv", "reference": "r.csv",
               "static_start_s": start_s, "static_end_s": end_s}  # fmt: skip
        yield "walks", write(folder, text, [row])


SOURCES: dict[str, tuple[Callable[[Path, int], Iterator[tuple[str, Path]]], str]] = {
    "demo": (demo, ""),
    "simulated": (simulated, ""),
    "goniometers": (goniometers, "goniometer-gait-22"),
    "pairs": (pairs, "goniometer-gait-22"),
    "jumps": (jumps, "knee-jump-left"),
    "walks": (walks, "walking-knee-optical"),
}


@dataclass
class Tally:
    """What was said of the recordings of one source."""

    n: int = 0
    refused: list[str] = field(default_factory=list)
    said: dict[str, Counter[str]] = field(
        default_factory=lambda: {each: Counter() for each in ("grave", "warning", "note")}
    )

    def add(self, result: TrialResult) -> None:
        """Count one result."""
        self.n += 1
        if result.status != "ok":
            self.refused.append(result.reason)
        for gravity, kind in {(gravity_of(each), kind_of(each)) for each in result.warnings}:
            self.said[gravity][kind] += 1

    def show(self, name: str) -> None:
        """Print what was counted."""
        print(f"{name}: {self.n} recordings, {len(self.refused)} refused")
        for reason, times in Counter(reason[:150] for reason in self.refused).most_common(6):
            print(f"    refused {times}: {reason}")
        for gravity, kinds in self.said.items():
            shown = ", ".join(f"{kind} {times}" for kind, times in kinds.most_common())
            print(f"    {gravity}: {shown or 'none'}")

    def row(self, name: str, seeds: int) -> str:
        """Return what was counted as a row of the documents' table."""
        seeded = str(seeds) if name.startswith(("demo", "simulated")) else ""
        shown = [_counted(self.said[gravity]) for gravity in ("grave", "warning")]
        cells = (name, seeded, str(self.n), str(len(self.refused)), *shown)
        return f"| {' | '.join(cells)} |\n"


def _counted(kinds: Counter[str]) -> str:
    return ", ".join(f"{kind} {times}" for kind, times in kinds.most_common()) or "none"


def write_docs(rows: dict[str, str], docs: Path = DOCS) -> None:
    """Put rows, by the recordings' name, in the place of those of that name in the documents."""
    before, _, after = docs.read_text(encoding="utf-8").partition(BEGIN)
    table, _, rest = after.partition("\n\n")
    old = {line.split(" | ")[0][2:]: f"{line}\n" for line in table.split("\n")[2:] if line}
    new = old | rows
    docs.write_text(f"{before}{BEGIN}{HEAD}{''.join(new.values())}\n{rest}", encoding="utf-8")


def analysed(path: Path) -> Iterator[TrialResult]:
    study = read_study(path)
    for trial in study.trials:
        yield from analyse_trial(study, trial)


def main(words: list[str]) -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("sources", nargs="*", metavar="SOURCE", help=", ".join(SOURCES))
    parser.add_argument("--seeds", type=int, default=50)
    parser.add_argument(
        "--write", action="store_true", help="rows of docs/reference/mistakes.md anew"
    )
    asked = parser.parse_args(words)
    tallies: dict[str, Tally] = {}
    for source in asked.sources or SOURCES:
        write_all, needed = SOURCES[source]
        if needed and not (DATA / needed).exists():
            print(f"{source}: ../shared/data/{needed} is absent")
            continue
        with tempfile.TemporaryDirectory() as place:
            for name, path in write_all(Path(place), asked.seeds):
                tally = tallies.setdefault(name, Tally())
                try:
                    for result in analysed(path):
                        tally.add(result)
                except TwinangleError as error:
                    tally.n += 1
                    tally.refused.append(str(error))
    for name, tally in tallies.items():
        tally.show(name)
    if asked.write:
        rows = {name: tally.row(name, asked.seeds) for name, tally in tallies.items()}
        write_docs(rows)


if __name__ == "__main__":
    main(sys.argv[1:])
