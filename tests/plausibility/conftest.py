"""Sensors of simulated walks, and what the physical tests say of them after a change."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.signals.recording import InertialRecording, SensorPair
from twinangle.simulate import simulate_walk

DATA = Path(__file__).resolve().parents[2] / "../shared/data"
GRAVITY = 9.80665
CIRCUITS = {"ccw_fast_01": 29.0, "ccw_normal_02": 27.2, "cw_normal_01": 33.5, "cw_slow_05": 39.0}


@pytest.fixture(scope="session")
def simulated():
    """A short walk with turns over mild iron, with skin that moves."""
    return simulate_walk(
        rng=np.random.default_rng(11),
        walk_s=30.0,
        straight_m=8.0,
        floor_ut=8.0,
        soft_tissue_deg=1.0,
    )


@pytest.fixture
def pair(simulated) -> SensorPair:
    return simulated.sensors


@pytest.fixture
def spoil():
    """Put channels of one sensor through functions, by instrument."""

    def change(pair, segment, **changes) -> SensorPair:
        sensor = getattr(pair, segment)
        values = {name: change(getattr(sensor, name)) for name, change in changes.items()}
        return replace(pair, **{segment: replace(sensor, **values)})

    return change


@pytest.fixture(scope="session", params=CIRCUITS)
def walk(request):
    """Read an open walk: call with `mended=False` for the file as published."""
    return lambda **how: _circuit(request.param, **how)


def _circuit(name, *, mended=True) -> SensorPair:
    """Return one open walk cut to its circuit; as published, or the thigh's accelerometer mended.

    Camargo et al. (2021), J Biomech 119:110320 (from memory); see PROVENANCE.md in the folder.
    """
    file = DATA / "walking-knee-optical" / f"{name}_imu.csv.gz"
    if not file.is_file():
        pytest.skip("../shared/data/walking-knee-optical is absent")
    table = pd.read_csv(file)
    start_s = float(table["time_s"].iloc[0]) + 1.5
    table = table[table["time_s"].between(start_s, CIRCUITS[name])]

    def sensor(segment, sign):
        force, rate = (
            table[[f"{segment}_{part}_{axis}" for axis in "xyz"]].to_numpy()
            for part in ("acc", "gyr")
        )
        return InertialRecording(
            sign * GRAVITY * force, rate, None, 0.0, 200.0, f"{name} {segment}"
        )

    return SensorPair(sensor("thigh", -1.0 if mended else 1.0), sensor("shank", 1.0))
