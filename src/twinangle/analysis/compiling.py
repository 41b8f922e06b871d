"""Load and compile before the first trial what every recording needs, once for all processes."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module

import numpy as np

from twinangle.signals.recording import InertialRecording
from twinangle.study import InertialWearable, Study
from twinangle.wearable import orientation

# What loads when it is first used, for what computes nothing needs none of it.
SLOW_TO_LOAD = ("scipy.signal", "scipy.stats", "pyarrow.csv", "vqf")


def load_ahead() -> None:
    """Load what every recording's analysis uses, so that processes forked from here hold it."""
    for name in SLOW_TO_LOAD:
        import_module(name)


def compile_ahead(study: Study, announce: Callable[[str], None]) -> None:
    """Run the compiled filters on a second of standing still, so that their code is there.

    The machine code is kept on disk (`twinangle.kernels`); only the first run after an installation
    compiles, and only then is anything announced. A study without raw signals needs none of it, nor
    one whose procedures all rest on the library's filter.

    Parameters
    ----------
    study : Study
        What is about to run.
    announce : callable
        Called with one line of text before compiling.
    """
    several = [part.study.wearable for part in study.parts] or [study.wearable]
    filters = [
        name
        for wearable in several
        if isinstance(wearable, InertialWearable)
        for name in wearable.procedures
    ]
    if all(name.startswith("vqf") for name in filters):
        return
    if not _kept_on_disk():
        announce("First run: compiling the orientation filters (some seconds, then kept) …")
    still = InertialRecording(
        accelerometer=np.tile([0.0, 0.0, 9.81], (200, 1)),
        gyroscope=np.zeros((200, 3)),
        magnetometer=np.tile([0.0, 20.0, -40.0], (200, 1)),
        start_s=0.0,
        rate_hz=100.0,
        source="standing still",
    )
    orientation.kalman(still)
    for sensor in (still, still.without_magnetometer()):
        orientation.kalman_forward(sensor)


def _kept_on_disk() -> bool:
    """Return whether the filters' compiled code is kept from a run before."""
    from twinangle.kernels import kept_on_disk  # the compiler is slow to import
    from twinangle.wearable.kalman import passes

    return kept_on_disk(passes)
