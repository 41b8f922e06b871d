"""A run that drops its traces on the way writes the files of one that holds them to the end."""

from dataclasses import replace

import numpy as np
import pytest

from twinangle.analysis import run_study
from twinangle.results.tables import read_traces
from twinangle.run import STUDY_PLACE, run_into, write_outputs
from twinangle.simulate import write_demo_study
from twinangle.study import read_study
from twinangle.study.settings import ReportSettings


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("traces") / "study"
    write_demo_study(folder, participants=1, walk_s=25.0)
    return read_study(folder)


@pytest.fixture(scope="module")
def held(study):
    return run_study(study)


def files(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != STUDY_PLACE
    }


@pytest.mark.nightly
def test_the_same_files_from_several_processes(study, held, tmp_path):
    write_outputs(held, tmp_path / "one")
    run_into(study, tmp_path / "several", jobs=2)
    one, several = files(tmp_path / "one"), files(tmp_path / "several")
    assert one.keys() == several.keys()
    assert [name for name in one if one[name] != several[name]] == []
    traces = read_traces(tmp_path / "several" / "tables")
    assert len(traces) == len(held.trials) > 1
    for trial, (key, paired) in zip(held.trials, traces.items(), strict=True):
        assert key[-1] == trial.procedure
        np.testing.assert_array_equal(paired.wearable_deg, trial.paired.wearable_deg)


def test_a_run_without_traces_writes_none(study, tmp_path):
    run_into(replace(study, report=ReportSettings(traces=False)), tmp_path / "out")
    names = files(tmp_path / "out")
    assert "tables/cycles.parquet" in names
    assert not [name for name in names if "traces." in name and "tables/" in name]
    assert not [name for name in names if name.endswith(".traces")]
