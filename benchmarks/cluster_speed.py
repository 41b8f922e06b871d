"""Two workers of a cluster against one: the analysis of the same recordings, wall time.

    python benchmarks/cluster_speed.py                 # 40 one-minute recordings
    python benchmarks/cluster_speed.py --trials 8

Starts `distributed`'s LocalCluster with one worker and with two (processes of one thread each,
warmed by one recording), has them analyse the recordings in turn, `--repeats` times, and prints
the medians and their ratio. The baseline is the same engine with one worker. The machine needs
a processor a worker, or the ratio says nothing.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from distributed import LocalCluster

from twinangle import read_study
from twinangle.analysis import analyse_trial, files_for
from twinangle.cluster import Cluster

sys.path.insert(0, str(Path(__file__).resolve().parent))
from whole_run import make_study


def numbers_of(study: Any, trial: Any, folder: Path) -> int:
    """Analyse one recording; only a number goes back."""
    return len(analyse_trial(study, trial))


def seconds(study: Any, address: str, folder: Path) -> float:
    start = time.perf_counter()
    with Cluster(address, tell=print) as cluster:
        done = sum(cluster.in_order(numbers_of, study, study.trials, files_for, folder))
    if done < len(study.trials):
        sys.exit("not every recording was analysed")
    return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description="Two workers of a cluster against one.")
    parser.add_argument("--trials", type=int, default=40)
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    took: dict[int, list[float]] = {1: [], 2: []}
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        study = read_study(make_study(place / "study", options.trials, "vqf", 33.0))
        warm = read_study(make_study(place / "warm", 2, "vqf", 33.0))
        for _ in range(options.repeats):
            for workers, times in took.items():
                with LocalCluster(
                    n_workers=workers, threads_per_worker=1, dashboard_address=":0"
                ) as local:
                    seconds(warm, local.scheduler_address, place)
                    times.append(seconds(study, local.scheduler_address, place))
    print(f"{options.trials} recordings of 60 s, procedure vqf, {os.cpu_count()} processors")
    for workers, times in took.items():
        each = ", ".join(f"{value:.1f}" for value in times)
        print(f"{workers} worker(s): {statistics.median(times):6.1f} s  (each: {each})")
    print(f"two are {statistics.median(took[1]) / statistics.median(took[2]):.2f} times as fast")


if __name__ == "__main__":
    main()
