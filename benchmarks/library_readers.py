"""MATLAB 5 to 7 and C3D by a library in a child process, against our readers in this one.

    python benchmarks/library_readers.py [N]

The libraries, `scipy.io.loadmat` and `ezc3d.c3d`, end the process on some damaged files, so that a
child would have to read for them, as one does for MATLAB 7.3. First what that costs: an invented
recording of ten minutes (13 or 3 channels at 100 Hz) read by a new child that hands the numbers
back, against ours; best of five, alternately, imports of this process done before. Then what it
brings: N mutants of a small recording (1000 unless said otherwise; as `fuzz_importers.py` makes
them), each read by the library in a forked process with 1 GiB and 4 s of the processor. Prints
how many the library read, refused, and died on; how many it read that ours refuses and the other
way round; and the library's words on those it refuses. Needs a system that forks.
"""

from __future__ import annotations

import os
import pickle
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from fuzz_importers import CHANNELS, RATE_HZ, mutate, write, write_c3d
from scipy.io import savemat

from twinangle.errors import TwinangleError
from twinangle.formats import read_recording

KINDS = ("mat", "mat-plain", "c3d")
ROWS = 60_000
LIBRARY = """
import sys
import numpy as np
def matlab(path):
    from scipy.io import loadmat
    found = loadmat(path)
    return {name: np.asarray(values, float) for name, values in found.items()
            if isinstance(values, np.ndarray) and values.dtype.kind in "iuf"}
def c3d(path):
    import ezc3d
    found = ezc3d.c3d(path)
    names = found["parameters"]["ANALOG"]["LABELS"]["value"]
    return dict(zip(names, found["data"]["analogs"][0], strict=False))
def read(path):
    return c3d(path) if path.endswith("c3d") else matlab(path)
if __name__ == "__main__":
    for values in read(sys.argv[1]).values():
        sys.stdout.buffer.write(np.ascontiguousarray(values).data)
"""


def ours(path: Path) -> None:
    own_clock = path.suffix == ".c3d"
    read_recording(path, columns=["acc_x", "acc_z"], rate_hz=None if own_clock else RATE_HZ)


def write_long(kind: str, folder: Path) -> Path:
    """Write ten minutes."""
    rng = np.random.default_rng(2)
    if kind == "c3d":
        frame = pd.DataFrame(rng.normal(size=(ROWS, 3)), columns=list(CHANNELS))
        return write_c3d(kind, folder, frame)
    names = (*CHANNELS, *(f"other_{k}" for k in range(10)))
    content = {name: rng.normal(size=ROWS).round(4) for name in names}
    savemat(folder / "walk.mat", content, do_compression=kind == "mat")
    return folder / "walk.mat"


def cost(kind: str, folder: Path) -> str:
    """Return the seconds of a child with the library, and their ratio to ours."""
    path, script = write_long(kind, folder), folder / "child.py"
    script.write_text(LIBRARY)
    command = [sys.executable, "-P", str(script), str(path)]
    best = {"child": np.inf, "ours": np.inf}
    calls: dict[str, Callable[[], Any]] = {
        "child": lambda: subprocess.run(command, check=True, capture_output=True),
        "ours": lambda: ours(path),
    }
    for _ in range(5):
        for name, call in calls.items():
            start = time.perf_counter()
            call()
            best[name] = min(best[name], time.perf_counter() - start)
    return (
        f"{kind}: child with the library {best['child']:.3f} s, ours {best['ours']:.3f} s, "
        f"ratio {best['child'] / best['ours']:.1f}"
    )


def by_library(read: Callable[[str], Any], path: Path) -> tuple[str, str]:
    """Return how the library ended, in a forked process with limits, and its words."""
    answer = path.with_name("answer")
    child = os.fork()
    if child == 0:
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (4, 5))
            used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
            resource.setrlimit(resource.RLIMIT_AS, (used + 2**30, used + 2**30))
            read(str(path))
            found = ("read", "")
        except BaseException as error:
            found = ("refused", f"{type(error).__name__}: {error}".splitlines()[0][:60])
        answer.write_bytes(pickle.dumps(found))
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return "died", f"signal {os.WTERMSIG(status)}"
    how, words = pickle.loads(answer.read_bytes())
    return str(how), str(words)


def damage(kind: str, folder: Path, count: int) -> str:
    """Return what the library and ours make of mutants."""
    namespace: dict[str, Any] = {"__name__": "library"}
    exec(LIBRARY, namespace)
    path = write(kind, folder)
    clean = path.read_bytes()
    namespace["read"](str(path))  # imported before any process is forked
    ours(path)
    rng = np.random.default_rng(1)
    ends, words = Counter[tuple[str, str]](), Counter[str]()
    for _ in range(count):
        path.write_bytes(mutate(clean, rng))
        how, said = by_library(namespace["read"], path)
        try:
            ours(path)
            own = "read"
        except TwinangleError:
            own = "refused"
        ends[how, own] += 1
        words[said] += how != "read"
    total = {how: ends[how, "read"] + ends[how, "refused"] for how in ("read", "refused", "died")}
    often = "; ".join(f"{n} × {said}" for said, n in words.most_common(6) if n)
    return (
        f"{kind}: of {count} mutants the library read {total['read']}, refused "
        f"{total['refused']}, died on {total['died']}; it read {ends['read', 'refused']} that "
        f"ours refuses, ours {ends['refused', 'read'] + ends['died', 'read']} on which it fails; "
        f"its words: {often}"
    )


def main(count: int) -> None:
    for kind in KINDS:
        with tempfile.TemporaryDirectory() as name:
            print(cost(kind, Path(name)), flush=True)
        with tempfile.TemporaryDirectory() as name:
            print(damage(kind, Path(name), count), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) == 2 else 1000)
