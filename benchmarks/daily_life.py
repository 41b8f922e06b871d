"""Memory and time of a recording of a day or a week, read stretch by stretch.

    python benchmarks/daily_life.py                    # one hour, a day: peak memory of each
    python benchmarks/daily_life.py --hours 1 168      # a week; takes most of an hour
    python benchmarks/daily_life.py --hours 1 --text   # delimited text in place of Parquet

Writes an invented recording of two sensors at 100 Hz, walks of some 40 s between rests of up to
a minute and a half, with a reference for the first walk, and runs `twinangle run` on it in a
process of its own. Prints the largest resident set, the time, the size of the recording's arrays,
and the peak of each over that of the first: 1 is memory that does not grow with the recording.
The baseline is what the arrays alone would take, read whole with pandas.
"""

from __future__ import annotations

import argparse
import csv
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import parquet

from twinangle.simulate import write_demo_study

sys.path.insert(0, str(Path(__file__).resolve().parent))
from whole_run import measure, twinangle

RATE_HZ = 100.0
WALK_FROM_S = 20.0  # behind the calibration of the simulated trial
STANDING = 150  # samples at the trial's end in which the person stands
ROWS_A_GROUP = 2**20  # of a Parquet file, as most writers have it


def blocks(body: np.ndarray, n_rows: int, rng: np.random.Generator) -> Iterator[np.ndarray]:
    """Yield walks and rests until there are enough rows."""
    rest = np.concatenate([body[-STANDING:]] * 60)
    walk = body
    while n_rows > 0:
        for block in (walk, rest[: rng.integers(3000, len(rest))]):
            yield block[:n_rows]
            n_rows -= len(block)
        walk = body[int(WALK_FROM_S * RATE_HZ) :]


def together(parts: Iterator[np.ndarray]) -> Iterator[np.ndarray]:
    """Yield the same rows in as few parts as :data:`ROWS_A_GROUP` allows."""
    held: list[np.ndarray] = []
    for part in parts:
        held.append(part)
        if sum(map(len, held)) >= ROWS_A_GROUP:
            yield np.concatenate(held)
            held = []
    if held:
        yield np.concatenate(held)


def make_study(folder: Path, hours: float, stretch_min: float, text: bool) -> Path:
    """Write one participant's long recording, and the study around it."""
    path = write_demo_study(folder, participants=1, walk_s=40.0)
    short = folder / "wearable/P01_indoor.csv"
    frame = pd.read_csv(short)
    names = list(frame.columns)
    body = frame[names[1:]].to_numpy()
    rng = np.random.default_rng(3)
    long = folder / f"wearable/P01_long.{'csv' if text else 'parquet'}"
    schema = pa.schema([(name, pa.float64()) for name in names])
    row = 0
    writer = None if text else parquet.ParquetWriter(long, schema)
    for block in together(blocks(body, int(hours * 3600 * RATE_HZ), rng)):
        time_s = np.round((row + np.arange(len(block))) / RATE_HZ, 4)
        part = pd.DataFrame(np.column_stack((time_s, block)), columns=names)
        if writer is None:
            part.to_csv(long, mode="a", header=row == 0, index=False)
        else:
            writer.write_table(pa.Table.from_pandas(part, schema, preserve_index=False))
        row += len(block)
    if writer is not None:
        writer.close()
    with (folder / "trials.csv").open(newline="", encoding="utf-8") as stream:
        only = next(r for r in csv.DictReader(stream) if r["condition"] == "indoor")
    only |= {"wearable": long.relative_to(folder).as_posix(), "start_s": "", "end_s": ""}
    with (folder / "trials.csv").open("w", newline="", encoding="utf-8") as stream:
        table = csv.DictWriter(stream, list(only))
        table.writeheader()
        table.writerow(only)
    settings = path.read_text(encoding="utf-8").replace(
        'procedures = ["kalman-two-sensors", "kalman-forward"]', 'procedures = ["vqf"]'
    )
    path.write_text(f"{settings}\n[daily_life]\nstretch_min = {stretch_min}\n", encoding="utf-8")
    return path


def main() -> None:
    parser = argparse.ArgumentParser(description="Memory and time of long recordings.")
    parser.add_argument("--hours", type=float, nargs="+", default=[1.0, 24.0])
    parser.add_argument("--stretch", type=float, default=60.0, help="minutes held at a time")
    parser.add_argument("--text", action="store_true", help="delimited text in place of Parquet")
    options = parser.parse_args()
    first_mb = float("nan")
    for hours in options.hours:
        with tempfile.TemporaryDirectory() as scratch:
            study = make_study(Path(scratch) / "study", hours, options.stretch, options.text)
            run = measure(twinangle(study, Path(scratch) / "out", 1))
        first_mb = run.peak_mb if hours == options.hours[0] else first_mb
        arrays_mb = hours * 3600 * RATE_HZ * 19 * 8 / 2**20
        print(
            f"{hours:g} h ({arrays_mb:.0f} MB of arrays): peak {run.peak_mb:.0f} MB, "
            f"{run.peak_mb / first_mb:.2f} of the first, {run.peak_mb / arrays_mb:.2f} of the "
            f"arrays; {run.wall_s:.0f} s, {run.wall_s / hours:.1f} s an hour",
            flush=True,
        )


if __name__ == "__main__":
    main()
