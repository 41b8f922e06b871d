"""Memory of writing the traces of long recordings, against the same table by a general library.

    python benchmarks/trace_files.py [RECORDINGS]

Invented recordings of three hours at 100 Hz, 6 unless said otherwise. Ours writes a part for each
recording as it comes and puts the parts together. Baseline: one `pandas.DataFrame` of all
recordings and `DataFrame.to_parquet`, identifiers as categories. Each runs in a process of its own;
the peak memory above that of its imports, the wall time and the file's size are printed with their
ratio.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from pyarrow import parquet

from twinangle.results import TrialResult
from twinangle.results.tables.columns import columns_of
from twinangle.results.tables.cycle_points import (
    IDENTITY,
    TraceSample,
    merge_trace_parts,
    write_trace_part,
)
from twinangle.signals.recording import PairedAngles

N_SAMPLES = 3 * 3600 * 100


def recording(number: int) -> TrialResult:
    """Return one invented recording."""
    rng = np.random.default_rng(number)
    wearable, reference = rng.normal(30.0, 20.0, (2, N_SAMPLES)).round(3)
    paired = PairedAngles(wearable, reference, 0.0, 100.0)
    return TrialResult(f"P{number:02d}", "1", "indoor", "1", "left", "a", "ok", paired=paired)


def write_ours(folder: Path, count: int) -> None:
    """Write recording by recording, then put the parts together."""
    parts = [folder / f"{number}.traces" for number in range(count)]
    for number, part in enumerate(parts):
        write_trace_part([recording(number)], part, True)
    merge_trace_parts(parts, folder / "traces.parquet", columns_of(TraceSample))


def write_baseline(folder: Path, count: int) -> None:
    """Write one frame of all recordings."""
    frames = []
    for trial in map(recording, range(count)):
        columns = {"time_s": trial.paired.time_s, "wearable_deg": trial.paired.wearable_deg}
        columns |= {"reference_deg": trial.paired.reference_deg}
        frames.append(pd.DataFrame({name: getattr(trial, name) for name in IDENTITY} | columns))
        frames[-1][list(IDENTITY)] = frames[-1][list(IDENTITY)].astype("category")
    table = pd.concat(frames, ignore_index=True)
    table.to_parquet(folder / "traces.parquet", compression="zstd")


KINDS: dict[str, Callable[[Path, int], None]] = {"ours": write_ours, "pandas": write_baseline}


def peak_mb() -> float:
    """Return this process's largest resident memory so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def child(kind: str, count: int) -> None:
    """Write once and print peak, seconds and size."""
    with tempfile.TemporaryDirectory() as name:
        parquet.read_schema  # noqa: B018 - imported before memory is read
        before, start = peak_mb(), time.perf_counter()
        KINDS[kind](Path(name), count)
        size = (Path(name) / "traces.parquet").stat().st_size / 1e6
        print(peak_mb() - before, time.perf_counter() - start, size)


def main() -> None:
    """Run both and print the ratio."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 6
    found = {}
    for kind in KINDS:
        words = [sys.executable, __file__, str(count), kind]
        done = subprocess.run(words, check=True, capture_output=True, text=True)
        found[kind] = [float(word) for word in done.stdout.split()]
        peak, seconds, size = found[kind]
        print(f"{kind:7s} {peak:7.0f} MB {seconds:6.1f} s, a file of {size:.0f} MB")
    ratios = (ours / other for ours, other in zip(*found.values(), strict=True))
    print("ours over pandas: memory {:.2f}, time {:.2f}, size {:.2f}".format(*ratios))


if __name__ == "__main__":
    if len(sys.argv) == 3:
        child(sys.argv[2], int(sys.argv[1]))
    else:
        main()
