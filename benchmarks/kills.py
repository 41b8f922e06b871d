"""Kills at random moments and in the midst of the switch: what they leave, and that it mends.

    python benchmarks/kills.py                  # 50 random, 50 aimed, and the places
    python benchmarks/kills.py --kills 6
    python benchmarks/kills.py --where /dev/shm # with the output folder on another file system

Writes two tiny invented studies and the results of the first, then again and again starts
`twinangle run` of the second into a copy of them, with one and two jobs, and ends it by SIGKILL,
SIGTERM or SIGINT (to the whole group, as a terminal does): at a random moment of the run, or
before one of the file system's steps of the switch, spread evenly over them all. After each it
looks for processes left behind (2 s are allowed), at what the folder holds (the old results whole,
the new ones whole, or marked unfinished; anything else is bad), completes what is unfinished, and
runs the command again to its end. Each command is a process forked from one that has imported
everything, which spares the imports and nothing else. Then come the places: another file system, a
mount point, full ones (these need the right to mount, and are left out by name without it).

Needs Linux: forked processes, and /proc to see what is left. Exit status 1 if anything is bad.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from twinangle.output_folder import UNFINISHED, settle

SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
STEPS = frozenset({"os.rename", "os.remove", "os.mkdir", "os.rmdir", "open", "shutil.rmtree"})
LEFT_S = 2.0
STUDY = """\
[study]
title = "{title}"
joint = "knee"
trials = "trials.csv"
invented = true
[wearable]
kind = "angle"
time = "time_s"
angles = {angles}
[reference]
kind = "angle"
time = "time_s"
angle = "knee_deg"
[cycles]
method = "angle-peak"
"""


def write_study(folder: Path, title: str, angles: str) -> Path:
    """Write 40 s of an invented knee, seen by two instruments."""
    folder.mkdir()
    rng = np.random.default_rng(1)
    t = np.arange(0, 40, 0.02)
    knee = 30 + 30 * np.sin(2 * np.pi * t / 1.1 + 0.3 * np.sin(0.21 * t))
    knee += 12 * np.sin(4 * np.pi * t / 1.1) + 3 * np.sin(0.6 * t)
    seen_as = {"a": knee + 1.5, "b": knee - 2.0, "knee_deg": knee}
    noisy = {key: values + 0.2 * rng.standard_normal(t.size) for key, values in seen_as.items()}
    pd.DataFrame({"time_s": t, **noisy}).round(4).to_csv(folder / "walk.csv", index=False)
    table = "participant,condition,wearable,reference\nP01,indoor,walk.csv,walk.csv\n"
    (folder / "trials.csv").write_text(table)
    (folder / "study.toml").write_text(STUDY.format(title=title, angles=angles))
    return folder / "study.toml"


def seen(folder: Path) -> str:
    """Return a digest of what a reader of the folder sees: every file that is not hidden."""
    total = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and not name.startswith(".twinangle"):
            total.update(name.encode() + b"\0" + path.read_bytes())
    return total.hexdigest()


@dataclass
class Command:
    """A command in a forked process with a session of its own."""

    pid: int
    said: Path

    def wait(self) -> int:
        """Return its exit status."""
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])

    def ended(self) -> bool:
        """Return whether it has ended."""
        found = os.waitid(os.P_PID, self.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT)
        return found is not None


def start(words: list[str], said: Path, before: Callable[[], Any] = lambda: None) -> Command:
    """Start a command; `before` is called in its process first."""
    pid = os.fork()
    if pid:
        return Command(pid, said)
    try:
        os.setsid()
        out = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(out, 1)
        os.dup2(out, 2)
        from twinangle.cli import main

        before()
        sys.argv = ["twinangle", *words]
        main()
    except SystemExit as leaving:
        sys.stdout.flush()
        os._exit(leaving.code if isinstance(leaving.code, int) else 1)
    finally:
        os._exit(99)


def aim(step: int, number: int, count: Path | None = None) -> Callable[[], None]:
    """Return what has a process kill itself before one of the steps of its switch."""
    done, last, main = [-1], [10**9], [0]

    def hook(event: str, words: tuple[Any, ...]) -> None:
        if event not in STEPS or os.getpid() != main[0] or done[0] >= last[0]:
            return
        begins = event == "os.rename" and str(words[1]).endswith(UNFINISHED)
        done[0] += 1 if done[0] >= 0 or begins else 0
        if event == "os.remove" and str(words[0]).endswith(UNFINISHED):
            last[0] = done[0] + 3  # and some of those that clear the staging away
        if count is not None and done[0] >= 0:
            os.truncate(count, done[0] + 1)
        if done[0] == step:
            os.kill(os.getpid(), number)

    def begin() -> None:
        main[0] = os.getpid()
        sys.addaudithook(hook)

    return begin


def left_behind(session: int) -> list[int]:
    """Return the processes of a session that still live."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            state = (entry / "stat").read_text().rpartition(")")[2].split()
        except (OSError, ValueError):
            continue
        if state and state[0] != "Z" and int(state[3]) == session:
            found.append(int(entry.name))
    return found


class Trial:
    """One folder, killed over and over; counts what was found."""

    def __init__(self, work: Path, where: Path, seed: int) -> None:
        self.new = write_study(work / "new", "New", '{ second = "b" }')
        self.old_study = write_study(work / "old", "Old", '{ first = "a" }')
        self.said, self.out, self.kept = work / "said.txt", where / "out", work / "kept"
        self.rng = random.Random(seed)
        self.found: Counter[str] = Counter()
        self.bad: list[str] = []

    def prepare(self) -> None:
        """Write the old and the new results once, and time the command."""
        self.run(self.old_study, self.kept, 1)
        self.old = seen(self.kept)
        self.run(self.new, self.out, 1)
        self.fresh = seen(self.out)
        self.run_s = {}
        for jobs in (1, 2):
            begun = time.monotonic()
            self.run(self.new, self.out, jobs)
            self.run_s[jobs] = time.monotonic() - begun
            assert seen(self.out) == self.fresh, "the bytes depend on --jobs"
        count = self.said.with_name("count")
        count.touch()
        self.restore()
        start(self.words(1), self.said, aim(-1, 0, count)).wait()
        self.steps = count.stat().st_size
        print(
            f"a run takes {self.run_s[1]:.1f} s with one job, {self.run_s[2]:.1f} s with two; "
            f"{self.steps} steps of the switch",
            flush=True,
        )

    def words(self, jobs: int) -> list[str]:
        """Return the command that is killed."""
        return ["run", str(self.new), "--out", str(self.out), "--jobs", str(jobs)]

    def run(self, study: Path, out: Path, jobs: int) -> None:
        """Run a study to its end."""
        words = ["run", str(study), "--out", str(out), "--jobs", str(jobs)]
        status = start(words, self.said).wait()
        if status:
            raise RuntimeError(f"status {status}: {self.said.read_text()}")

    def restore(self) -> None:
        """Put the old results back."""
        shutil.rmtree(self.out, ignore_errors=True)
        shutil.copytree(self.kept, self.out)

    def kill(self, kind: str, number: int, jobs: int, which: int) -> None:
        """Start, kill, and look at what is left."""
        self.restore()
        if kind == "random":
            command = start(self.words(jobs), self.said)
            after = time.monotonic() + self.rng.uniform(0, self.run_s[jobs])
            while time.monotonic() < after and not command.ended():
                time.sleep(0.005)
            if not command.ended():
                send = os.killpg if number == signal.SIGINT else os.kill
                send(command.pid, number)
        else:
            step = which * self.steps // max(self.count, 1)
            command = start(self.words(jobs), self.said, aim(step, number))
        status = command.wait()
        name = f"{kind} {signal.Signals(number).name} --jobs {jobs}, number {which}"
        self.look(name, kind, command, status)

    def look(self, name: str, kind: str, command: Command, status: int) -> None:
        """Judge what one kill left, mend it, and run again."""
        begun = time.monotonic()
        while (left := left_behind(command.pid)) and time.monotonic() < begun + LEFT_S:
            time.sleep(0.02)
        for pid in left:
            os.kill(pid, signal.SIGKILL)
        said = self.said.read_text(errors="replace")
        state = self.state()
        self.found[f"{kind}: {state}"] += 1
        told = settle(self.out)
        whole = seen(self.out) == (self.fresh if told else {"old": self.old}.get(state, self.fresh))
        faults = {
            f"{len(left)} processes left": bool(left),
            "old and new mixed": state == "mixed",
            "not mended": not whole or bool(told) != (state == "unfinished"),
            "a traceback": "Traceback" in said,
            "more than one message": said.count("twinangle: stopped") > 1,
            f"status {status}": status not in (0, 130, 143, -signal.SIGKILL),
        }
        rerun = start(self.words(1), self.said).wait()
        faults["the rerun failed"] = rerun != 0 or seen(self.out) != self.fresh
        faults["left over"] = {path.name for path in self.out.glob(".*")} != {
            ".twinangle-outputs.json"
        }
        for fault in (text for text, is_so in faults.items() if is_so):
            self.bad.append(f"BAD {name}: {fault}\n{said[-600:]}")
            print(self.bad[-1], flush=True)

    def state(self) -> str:
        """Return what a reader finds."""
        if (self.out / UNFINISHED).exists():
            return "unfinished"
        return {self.old: "old", self.fresh: "new"}.get(seen(self.out), "mixed")

    def all_kills(self, count: int) -> None:
        """Kill so many times at random and so many in the switch."""
        self.count = count
        for kind in ("random", "aimed"):
            begun = time.monotonic()
            for which in range(count):
                self.kill(kind, SIGNALS[which % 3], 1 + which // 3 % 2, which)
            counts = {key: n for key, n in self.found.items() if key.startswith(kind)}
            text = ", ".join(f"{key.split(': ')[1]} {n}" for key, n in sorted(counts.items()))
            print(f"{count} {kind} kills in {time.monotonic() - begun:.0f} s: {text}", flush=True)

    def places(self, work: Path) -> None:
        """Run into folders on other file systems."""
        elsewhere = Path("/dev/shm")
        if elsewhere.is_dir() and elsewhere.stat().st_dev != work.stat().st_dev:
            with tempfile.TemporaryDirectory(dir=elsewhere) as name:
                self.place("another file system", Path(name) / "out", fits=True)
        for name, free_kb, fits in (
            ("a mount point", None, True),
            ("a full mount point", 100, False),
            ("a mount point that fills during the run", 1200, False),
        ):
            point = work / f"mounted-{free_kb}"
            with mounted(point) as there:
                if not there:
                    print(f"{name}: left out, mounting is not permitted")
                    continue
                shutil.copytree(self.kept, point, dirs_exist_ok=True)
                if free_kb is not None:
                    filled = shutil.disk_usage(point).free - 1024 * free_kb
                    (point / "of-somebody-else.bin").write_bytes(bytes(filled))
                self.place(name, point, fits=fits)

    def place(self, name: str, out: Path, *, fits: bool) -> None:
        """Run into one folder, and look whether it ends as it must."""
        before = seen(out)
        words = ["run", str(self.new), "--out", str(out), "--image", "png", "--image", "tiff"]
        status = start(words, self.said).wait()
        said = self.said.read_text().strip().splitlines()
        good = status == 0 if fits else status == 1 and seen(out) == before
        good = good and not list(out.glob(".twinangle-staging*"))
        print(f"{name}: status {status}{'' if fits else f', {said[-1]}'}", flush=True)
        if not good:
            self.bad.append(f"BAD {name}: status {status}: {said[-1]}")
            print(self.bad[-1])


@contextmanager
def mounted(point: Path) -> Iterator[bool]:
    """Mount a file system of 16 MiB in memory, where that is permitted."""
    point.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs", str(point)]
    done = subprocess.run(words, check=False, capture_output=True)
    try:
        yield done.returncode == 0
    finally:
        if done.returncode == 0:
            subprocess.run(["umount", str(point)], check=True)


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--where", type=Path, help="folder for the output folder")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    import twinangle.cli
    import twinangle.closing
    import twinangle.run  # noqa: F401 - so that every forked command has them

    with tempfile.TemporaryDirectory() as name, tempfile.TemporaryDirectory(dir=given.where) as out:
        trial = Trial(Path(name), Path(out), given.seed)
        trial.prepare()
        trial.all_kills(given.kills)
        trial.places(Path(name))
    print(f"{len(trial.bad)} bad ends")
    return int(bool(trial.bad))


if __name__ == "__main__":
    sys.exit(main())
