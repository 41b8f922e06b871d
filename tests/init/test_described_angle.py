"""What `twinangle describe` makes of a file whose names tell little."""

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from twinangle.cli import app
from twinangle.formats import describe_file


def write(path, **columns):
    pd.DataFrame(columns).to_csv(path, index=False)
    return path


SECONDS = np.arange(300) / 60 + 1


@pytest.mark.parametrize(
    ("name", "ticks", "unit"),
    [("clock", 1, ""), ("stamp_ms", 1e3, "ms"), ("Time Stamp", 1, ""), ("elapsed_s", 1, "")],
)
def test_times_go_by_many_names(tmp_path, name, ticks, unit):
    path = write(tmp_path / "a.csv", **{name: SECONDS * ticks, "knee_flex": np.sin(SECONDS)})
    found = describe_file(path)
    assert (found.time, found.time_unit) == (name, unit)
    assert found.rate_hz == pytest.approx(60)


def test_a_column_that_could_be_times_is_named(tmp_path):
    """Its name says nothing, so that nothing is taken from it."""
    found = describe_file(write(tmp_path / "a.csv", tick=SECONDS, knee_flex=np.sin(SECONDS)))
    assert found.time is None
    said = str(found)
    assert "no column of times found by its name; 'tick' increases throughout" in said


def test_an_angle_is_offered_as_either_instrument(tmp_path):
    path = write(tmp_path / "a.csv", stamp_ms=SECONDS * 1e3, knee_flex=np.sin(SECONDS))
    said = CliRunner().invoke(app, ["describe", str(path)]).output
    assert '[reference]\nkind = "angle"\ntime = "stamp_ms"\ntime_unit = "ms"' in said
    _, _, worn = said.partition("If it is the wearable under test that computes this angle")
    assert '[wearable]\nkind = "angle"\ntime = "stamp_ms"' in worn
    assert 'angle = "knee_flex"' in worn


def test_sensors_are_offered_as_a_wearable_alone(tmp_path):
    names = [f"{s}_{k}_{x}" for s in ("thigh", "shank") for k in ("acc", "gyr") for x in "xyz"]
    path = write(tmp_path / "a.csv", clock=SECONDS, **dict.fromkeys(names, np.sin(SECONDS)))
    said = CliRunner().invoke(app, ["describe", str(path)]).output
    assert "If it is the wearable" not in said
