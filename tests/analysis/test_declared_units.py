"""Units that files declare against the study's, and a trigger at another rate than the markers."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from twinangle.analysis.declared_units import in_unit
from twinangle.analysis.reading import read_trial
from twinangle.errors import RecordingError
from twinangle.signals.recording import Recording
from twinangle.study import read_study

TIME = np.arange(400) / 100
KNEE = 30 - 30 * np.cos(2 * np.pi * TIME)

STUDY = """
[study]
title = "Invented"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "t"
angle = "knee"
[reference]
{reference}
[cycles]
method = "angle-peak"
"""
MARKERS = """
kind = "markers"
method = "sagittal"
unit = "mm"
plane = ["x", "z"]
[reference.proximal]
upper = "HIP"
lower = "KNEE"
[reference.distal]
upper = "KNEE"
lower = "ANKLE"
[synchronisation]
method = "trigger"
wearable_trigger = "sync"
reference_trigger = "pulse"
"""


def recording(unit: str) -> Recording:
    return Recording(TIME[:3], np.array([[1.0], [2.0], [4.0]]), ("a",), (unit,), "walk.edf")


@pytest.mark.parametrize(
    ("found", "wanted", "factor"),
    [
        ("mV", "V", 1e-3), ("µV", "V", 1e-6), ("V", "V", 1), ("m", "mm", 1000), ("cm", "m", 0.01),
        ("degrees", "deg", 1), ("", "rad", 1), ("counts", "deg", 1),
    ],
)  # fmt: skip
def test_a_unit_of_the_same_quantity_is_converted(found, wanted, factor):
    result = in_unit(recording(found), ("a",), wanted)

    assert_allclose(result.columns(["a"])[:, 0], factor * np.array([1, 2, 4]), rtol=1e-15)


@pytest.mark.parametrize(("found", "wanted"), [("rad", "deg"), ("deg", "V"), ("V", "mm")])
def test_a_unit_of_another_quantity_is_refused(found, wanted):
    message = rf"walk\.edf: channel 'a' is in '{found}' by the file itself, and in '{wanted}'"
    with pytest.raises(RecordingError, match=message):
        in_unit(recording(found), ("a",), wanted)


def write_study(folder, reference: str, file: str):
    sync = (np.arange(400) == 50).astype(float)
    pd.DataFrame({"t": TIME, "knee": KNEE, "sync": sync}).to_csv(folder / "w.csv", index=False)
    (folder / "trials.csv").write_text(f"participant,wearable,reference\nP01,w.csv,{file}\n")
    (folder / "study.toml").write_text(STUDY.format(reference=reference))
    study = read_study(folder / "study.toml")
    return read_trial(study, study.trials[0])


def test_markers_in_metres_are_read_with_a_trigger_at_the_analogue_rate(tmp_path):
    ezc3d = pytest.importorskip("ezc3d", reason="the library ezc3d is absent")
    bend = np.radians(KNEE)
    ankle = np.stack([-0.4 * np.sin(bend), 0 * bend, 0.5 - 0.4 * np.cos(bend), 0 * bend])
    hip, knee = (np.tile([[0.0], [0], [height], [0]], 400) for height in (0.9, 0.5))
    content = ezc3d.c3d()
    point, analogue = (content["parameters"][group] for group in ("POINT", "ANALOG"))
    point["RATE"]["value"], point["UNITS"]["value"] = [100], ["m"]
    point["LABELS"]["value"] = ["HIP", "KNEE", "ANKLE"]
    analogue["RATE"]["value"], analogue["LABELS"]["value"] = [1000], ["pulse"]
    content["data"]["points"] = np.stack([hip, knee, ankle], axis=1)
    pulse = (np.arange(4000) == 1234).astype(float)
    content["data"]["analogs"] = pulse[np.newaxis, np.newaxis]
    content.write(str(tmp_path / "r.c3d"))

    signals = write_study(tmp_path, MARKERS, "r.c3d")

    assert_allclose(signals.reference.angle_deg, KNEE, atol=1e-4)  # the format holds float32
    times, values = signals.reference_trigger
    assert_array_equal(times, np.arange(4000) / 1000)
    assert_array_equal(values, pulse)
    assert len(signals.reference.angle_deg) == 400


def test_a_goniometer_in_millivolts_is_calibrated_in_volts(tmp_path):
    edfio = pytest.importorskip("edfio", reason="the library edfio is absent")
    signal = edfio.EdfSignal(
        10 * KNEE, 100, label="gonio", physical_dimension="mV", physical_range=(-1000, 1000)
    )
    edfio.Edf([signal], data_record_duration=1).write(tmp_path / "r.edf")

    reference = 'kind = "angle"\nangle = "gonio"\nunit = "V"\ngain = 100.0'
    signals = write_study(tmp_path, reference, "r.edf")

    assert_allclose(signals.reference.angle_deg, KNEE, atol=0.51 * 0.1 * 2000 / 65535)
