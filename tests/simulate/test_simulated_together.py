"""Several instruments on one simulated walk: each by itself, on its own clock."""

import numpy as np
import pandas as pd
import pytest
from scipy.interpolate import CubicSpline

from twinangle.simulate import (
    ReferenceErrors,
    WalkSettings,
    simulate_together,
    write_together_study,
)
from twinangle.simulate.together import DEVICES, REFERENCES, Device, Instrument
from twinangle.study import read_study

SHORT = WalkSettings(walk_s=8.0)


def test_one_instrument_less_changes_nothing_of_the_others():
    both = simulate_together(seed=3, settings=SHORT)
    one = simulate_together(
        seed=3,
        settings=SHORT,
        devices={"strap": DEVICES["strap"]},
        references={"goniometer": REFERENCES["goniometer"]},
    )
    assert np.array_equal(
        both.sensors["strap"].distal.gyroscope, one.sensors["strap"].distal.gyroscope
    )
    assert np.array_equal(
        both.references["goniometer"].angle_deg, one.references["goniometer"].angle_deg
    )


def test_a_perfect_reference_reads_the_true_angle_on_its_own_clock():
    perfect = Instrument(lag_s=2.0, drift_ppm=50.0, errors=ReferenceErrors.none())
    walk = simulate_together(seed=1, settings=SHORT, devices={}, references={"r": perfect})
    read = walk.references["r"]
    there = read.time_s * (1 + 50e-6) + 2.0
    inside = (there > 0) & (there < walk.true_deg.time_s[-1])
    true = CubicSpline(walk.true_deg.time_s, walk.true_deg.angle_deg)(there[inside])
    assert read.angle_deg[inside] == pytest.approx(true, abs=0.05)


def test_the_study_it_writes_is_read_and_has_each_clock(tmp_path):
    devices = {"strap": Device(), "sleeve": Device(shift_s=4.0, drift_ppm=-30.0)}
    path = write_together_study(tmp_path, participants=1, walk_s=8.0, devices=devices)
    study = read_study(path)
    assert [(part.wearable, part.reference) for part in study.parts] == [
        ("strap", "goniometer"), ("strap", "optical"),
        ("sleeve", "goniometer"), ("sleeve", "optical"),
    ]  # fmt: skip
    times = [pd.read_csv(tmp_path / f"P01_{name}.csv")["time_s"] for name in devices]
    assert times[1].to_numpy() == pytest.approx(times[0] * (1 - 30e-6) + 4.0, abs=2e-6)
    static = [part.study.trials[0].static.start_s for part in (study.parts[0], study.parts[2])]
    assert static[1] - static[0] == pytest.approx(4.0, abs=0.002)
