"""What a data set cannot hold is refused with a way out, and nothing is left behind."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from twinangle import read_study
from twinangle.errors import StudyError
from twinangle.export import export_study

STUDY = """
[study]
title = "Trigger"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
angle = "knee"
[reference]
kind = "angle"
time = "t"
angle = "knee"
[synchronisation]
method = "trigger"
wearable_trigger = "sync"
reference_trigger = "sync"
[cycles]
method = "angle-peak"
"""


def test_a_trigger_at_another_rate_is_refused_with_a_way_out(tmp_path):
    edfio = pytest.importorskip("edfio", reason="the library edfio is absent")
    time_s = np.arange(4000) / 100
    knee = 30 * (1 - np.cos(2 * np.pi * time_s / 1.2))
    pulse = np.zeros(8000)
    pulse[2000:2050] = 5
    folder = tmp_path / "study"
    folder.mkdir()
    limits = {"physical_range": (-200, 200)}
    edfio.Edf(
        [
            edfio.EdfSignal(knee, 100, label="knee", physical_dimension="deg", **limits),
            edfio.EdfSignal(pulse, 200, label="sync", physical_dimension="V", **limits),
        ]
    ).write(folder / "w.edf")
    pd.DataFrame({"t": time_s, "knee": knee, "sync": pulse[::2]}).to_csv(
        folder / "r.csv", index=False
    )
    (folder / "study.toml").write_text(STUDY)
    (folder / "trials.csv").write_text("participant,wearable,reference\nP01,w.edf,r.csv\n")

    with pytest.raises(StudyError, match=r'w\.edf: its trigger runs at another rate.*"manual"'):
        export_study(read_study(folder), tmp_path / "set")

    assert [path.name for path in tmp_path.iterdir()] == ["study"]
