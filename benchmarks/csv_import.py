"""Reading a long recording from CSV, against the plainest use of the same general library.

    python benchmarks/csv_import.py [HOURS]

Two invented sensors with magnetometers at 100 Hz, 24 hours unless said otherwise: a time column
and 18 channels of six digits, and a column of text that is not asked for. Baseline:
`pandas.read_csv` with the pyarrow engine on the same columns, without a check. Ours reads them
through `read_recording`, all checks of times and values included. Each runs in a process of its
own, three times alternately; the best wall time and the peak memory of each are printed with
their ratio.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

RATE_HZ = 100
CHANNELS = tuple(f"ch_{number:02d}" for number in range(18))


def write(path: Path, hours: float) -> None:
    """Write the file in blocks of a minute, so that the benchmark itself needs little memory."""
    rng = np.random.default_rng(1)
    block = 60 * RATE_HZ
    with path.open("w", encoding="utf-8") as stream:
        stream.write(",".join(("time_s", *CHANNELS, "note")) + "\n")
        cells = [",".join(f"{x:.6f}" for x in row) for row in rng.normal(size=(block, 18))]
        for minute in range(round(60 * hours)):
            first = minute * block
            stream.writelines(f"{(first + k) / RATE_HZ:.2f},{cells[k]},ok\n" for k in range(block))


def read_ours(path: Path) -> None:
    from twinangle.formats import read_recording

    read_recording(path, columns=CHANNELS, time="time_s")


def read_baseline(path: Path) -> None:
    import pandas as pd

    pd.read_csv(path, engine="pyarrow", usecols=["time_s", *CHANNELS])


def child(which: str, path: Path) -> None:
    """Time one reader, imports done beforehand, and print seconds and peak MiB."""
    import pandas  # noqa: F401, ICN001

    import twinangle.formats  # noqa: F401

    start = time.perf_counter()
    (read_ours if which == "ours" else read_baseline)(path)
    seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{seconds:.3f} {peak:.1f}")


def main(hours: float) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.csv"
        write(path, hours)
        print(f"{hours:g} h at {RATE_HZ} Hz, {path.stat().st_size / 2**20:.0f} MiB of text")
        best: dict[str, tuple[float, float]] = {}
        for _ in range(3):
            for which in ("baseline", "ours"):
                command = [sys.executable, __file__, which, str(path)]
                done = subprocess.run(command, capture_output=True, text=True, check=True)
                seconds, peak = (float(part) for part in done.stdout.split())
                best[which] = min(best.get(which, (np.inf, np.inf)), (seconds, peak))
    for which, (seconds, peak) in best.items():
        print(f"{which:<9} {seconds:8.2f} s   peak {peak:8.0f} MiB")
    ratios = [ours / theirs for ours, theirs in zip(best["ours"], best["baseline"], strict=True)]
    print(f"ratio     {ratios[0]:8.2f}        {ratios[1]:8.2f}")


if __name__ == "__main__":
    if len(sys.argv) == 3:
        child(sys.argv[1], Path(sys.argv[2]))
    else:
        main(float(sys.argv[1]) if len(sys.argv) == 2 else 24.0)
