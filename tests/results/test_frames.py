"""Frames of the results are the rows of the tables, and nothing else."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from twinangle.results.tables import TABLES, write_tables


@pytest.fixture(scope="module")
def folder(study, tmp_path_factory):
    folder = tmp_path_factory.mktemp("frames")
    write_tables(study, folder)
    return folder


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_a_frame_is_what_its_file_holds(table, study, folder):
    frame = study.frames[table.name]
    texts = {one.name: str for one in table.columns if one.kind == "string"}
    written = pd.read_csv(folder / f"{table.name}.csv", dtype=texts, keep_default_na=True)
    assert list(frame.columns) == list(written.columns)
    assert len(frame) == len(written)
    for column in table.columns:
        ours, theirs = frame[column.name], written[column.name]
        if column.kind == "string":
            assert list(ours) == [text.removeprefix("'") for text in theirs.fillna("")]
        else:
            ours, theirs = (each.astype("float64").to_numpy() for each in (ours, theirs))
            finite = np.isfinite(ours)  # an open end of an interval is an empty cell in a file
            np.testing.assert_array_equal(ours[finite], theirs[finite])


def test_points_and_traces_are_those_of_the_parquet_files(study, folder):
    frames = study.frames
    pd.testing.assert_frame_equal(
        frames["cycle_points"], pd.read_parquet(folder / "cycles.parquet")
    )
    pd.testing.assert_frame_equal(frames["traces"], pd.read_parquet(folder / "traces.parquet"))


def test_short_names_and_unknown_ones(study):
    frames = study.frames
    assert frames.limits.equals(frames["limits_of_agreement"])
    assert frames.curves.equals(frames["mean_curves"])
    assert len(frames) == len(list(frames)) == len(TABLES) + 2
    for name in ("trials", "cycles", "conditions", "warnings"):
        assert getattr(frames, name).equals(frames[name])
    with pytest.raises(KeyError, match=r"no table 'limts'.*limits_points"):
        frames["limts"]
