"""Reading C3D and EDF, against the bare libraries on the same channels.

    python benchmarks/format_speed.py [MINUTES]

Writes invented recordings: C3D of so many minutes (10 unless said otherwise) with 20 markers at
100 Hz and 16 analogue channels at 1000 Hz by ezc3d, EDF of 36 times as many with 18 signals at
100 Hz by edfio. Ours reads the named channels through `read_recording`, all checks included; the
baselines are `ezc3d.c3d(path)` with the channels taken from its arrays (it can only read a file
whole), edfio's `read_edf` with `signal.data`, and pyEDFlib's `readSignal`, each where it is
installed. Every reader runs in a process of its own, five times alternately; the best time and
the peak memory are printed, and the ratio of ours to each baseline.
"""

from __future__ import annotations

import importlib.util
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

MARKERS = tuple(f"M{k:02d}" for k in range(20))
COORDINATES = tuple(f"{marker}_{axis}" for marker in MARKERS for axis in "xyz")
ANALOGUE = tuple(f"A{k:02d}" for k in range(16))
SIGNALS = tuple(f"ch_{k:02d}" for k in range(18))
REPEATS = 5
EDF_LONGER = 36


def write_c3d(path: Path, minutes: float) -> None:
    import ezc3d

    rng = np.random.default_rng(1)
    n_frames = min(round(minutes * 6000), 65_000)  # what the library can count
    content = ezc3d.c3d()
    for group, rate, labels in (("POINT", 100, MARKERS), ("ANALOG", 1000, ANALOGUE)):
        content["parameters"][group]["RATE"]["value"] = [rate]
        content["parameters"][group]["LABELS"]["value"] = list(labels)
    content["data"]["points"] = rng.normal(0, 500, (4, len(MARKERS), n_frames))
    content["data"]["analogs"] = rng.normal(0, 5, (1, len(ANALOGUE), 10 * n_frames))
    content.write(str(path))


def write_edf(path: Path, minutes: float) -> None:
    import edfio

    rng = np.random.default_rng(1)
    edfio.Edf(
        [
            edfio.EdfSignal(
                rng.normal(size=6000 * round(minutes)), 100, label=name, physical_range=(-8, 8)
            )
            for name in SIGNALS
        ],
        data_record_duration=1,
    ).write(path)


def ours_points(path: Path) -> None:
    from twinangle.formats import read_recording

    read_recording(path, columns=COORDINATES)


def ours_analogue(path: Path) -> None:
    from twinangle.formats import read_recording

    read_recording(path, columns=ANALOGUE)


def ours_edf(path: Path) -> None:
    from twinangle.formats import read_recording

    read_recording(path, columns=SIGNALS)


def ezc3d_points(path: Path) -> None:
    import ezc3d

    ezc3d.c3d(str(path))["data"]["points"][:3].transpose(2, 1, 0).reshape(-1, len(COORDINATES))


def ezc3d_analogue(path: Path) -> None:
    import ezc3d

    np.ascontiguousarray(ezc3d.c3d(str(path))["data"]["analogs"][0].T)


def edfio_signals(path: Path) -> None:
    import edfio

    file = edfio.read_edf(path)
    np.column_stack([file.get_signal(name).data for name in SIGNALS])


def pyedflib_signals(path: Path) -> None:
    import pyedflib

    with pyedflib.EdfReader(str(path)) as file:
        np.column_stack([file.readSignal(k) for k in range(len(SIGNALS))])


READERS = {
    each.__name__: each
    for each in (
        ours_points, ours_analogue, ours_edf,
        ezc3d_points, ezc3d_analogue, edfio_signals, pyedflib_signals,
    )
}  # fmt: skip
TASKS = {
    "C3D points": ("walk.c3d", "ours_points", ("ezc3d_points",)),
    "C3D analogue": ("walk.c3d", "ours_analogue", ("ezc3d_analogue",)),
    "EDF": ("walk.edf", "ours_edf", ("edfio_signals", "pyedflib_signals")),
}


def child(reader: str, path: Path) -> None:
    """Time one reader, imports done beforehand, and print seconds and peak MiB."""
    import twinangle.formats  # noqa: F401

    for library in ("ezc3d", "edfio", "pyedflib"):
        if reader.startswith(library):
            importlib.import_module(library)
    start = time.perf_counter()
    READERS[reader](path)
    seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{seconds:.4f} {peak:.1f}")


def best_of(readers: list[str], path: Path) -> dict[str, tuple[float, float]]:
    """Return the best seconds and peak MiB of each reader, run alternately."""
    best: dict[str, tuple[float, float]] = {}
    for _ in range(REPEATS):
        for reader in readers:
            command = [sys.executable, __file__, reader, str(path)]
            done = subprocess.run(command, capture_output=True, text=True, check=True)
            found = [float(part) for part in done.stdout.split()]
            old = best.get(reader, (np.inf, np.inf))
            best[reader] = (min(found[0], old[0]), min(found[1], old[1]))
    return best


def main(minutes: float) -> None:
    """Write the files, time every reader, and print the ratios."""
    with tempfile.TemporaryDirectory() as folder:
        write_c3d(Path(folder) / "walk.c3d", minutes)
        write_edf(Path(folder) / "walk.edf", EDF_LONGER * minutes)
        for task, (name, ours, baselines) in TASKS.items():
            path = Path(folder) / name
            there = [each for each in baselines if importlib.util.find_spec(each.partition("_")[0])]
            best = best_of([ours, *there], path)
            print(f"{task}, {path.stat().st_size / 2**20:.0f} MiB")
            for reader, (seconds, peak) in best.items():
                ratio = "" if reader == ours else f"   ratio {best[ours][0] / seconds:.2f}"
                print(f"  {reader:<17} {seconds:8.3f} s   peak {peak:6.0f} MiB{ratio}")


if __name__ == "__main__":
    if len(sys.argv) == 3:
        child(sys.argv[1], Path(sys.argv[2]))
    else:
        main(float(sys.argv[1]) if len(sys.argv) == 2 else 10.0)
