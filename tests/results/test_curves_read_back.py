"""Cycles and traces read back equal those written; how they were written leaves no mark."""

from dataclasses import fields, replace

import numpy as np
import pytest
from pyarrow import parquet

from twinangle.errors import StudyError
from twinangle.results import TrialResult
from twinangle.results.tables import parquet as writing
from twinangle.results.tables import read_cycles, read_traces, write_tables
from twinangle.results.tables.columns import columns_of
from twinangle.results.tables.cycle_points import (
    LONGEST_S,
    CyclePoint,
    cycle_tables,
    write_trace_part,
)
from twinangle.signals.recording import CycleSet
from twinangle.signals.timing import TimingReport

IDENTITY = ("participant", "session", "condition", "trial", "side", "procedure")


def key(trial):
    return tuple(getattr(trial, name) for name in IDENTITY)


def assert_same(found, expected):
    """Every field equal to the last bit, with the same type."""
    assert type(found) is type(expected)
    for item in fields(expected):
        one, other = getattr(found, item.name), getattr(expected, item.name)
        assert type(one) is type(other), item.name
        if isinstance(other, np.ndarray):
            assert one.dtype == other.dtype
            np.testing.assert_array_equal(one, other, strict=True)
        else:
            assert one == other, item.name


def with_reasons(trial):
    """A trial with gaps, warnings, and texts that are hard to write."""
    curves = trial.cycles.wearable_deg.copy()
    curves[-1, 20:30] = np.nan
    reason = ('left out: "a, b"\n; ü 日本', *trial.cycles.reason[1:])
    warned = ("one warning, with a comma", 'a "second"')
    cycles = replace(trial.cycles, wearable_deg=curves, reason=reason, warnings=warned)
    return replace(trial, cycles=cycles, participant="Ü 1")


def test_cycles_and_traces_are_read_back_as_written(study, tmp_path):
    changed = replace(study, trials=(with_reasons(study.trials[0]), *study.trials[1:]))
    write_tables(changed, tmp_path)
    cycles, traces = read_cycles(tmp_path), read_traces(tmp_path)
    assert list(cycles) == list(traces) == [key(trial) for trial in changed.trials]
    for trial in changed.trials:
        assert_same(cycles[key(trial)], trial.cycles)
        assert_same(traces[key(trial)], trial.paired)
    assert any(one.reference_deg is None for one in traces.values())
    assert any(np.isnan(one.wearable_deg).any() for one in traces.values())


@pytest.mark.parametrize("reference", [None, np.zeros((0, 101))])
def test_a_trial_in_which_no_cycle_was_found_is_read_back(study, reference, tmp_path):
    none = CycleSet(
        np.zeros(0), np.zeros(0), (), np.zeros((0, 101)), reference, "angle-peak", warnings=("w",)
    )
    trials = (replace(study.trials[0], cycles=none), *study.trials[1:])
    write_tables(replace(study, trials=trials), tmp_path)
    assert_same(read_cycles(tmp_path)[key(trials[0])], none)
    assert_same(read_cycles(tmp_path)[key(trials[1])], trials[1].cycles)


def test_cycles_without_numbered_bouts_are_read_back(study, tmp_path):
    cycles = replace(study.trials[0].cycles, bout=np.zeros(0, dtype=np.int64))
    tables = cycle_tables([replace(study.trials[0], cycles=cycles)])
    writing.write_parquet(tmp_path / "cycles.parquet", columns_of(CyclePoint), tables)
    assert_same(read_cycles(tmp_path)[key(study.trials[0])], cycles)


def test_a_text_that_is_held_once_gives_the_bytes_of_one_in_every_row(study, tmp_path):
    # against the Parquet library given plain columns
    columns = columns_of(CyclePoint)
    tables = [table.cast(writing.schema_of(columns)) for table in cycle_tables(study.trials)]
    writing.write_parquet(tmp_path / "plain.parquet", columns, tables)
    write_tables(study, tmp_path)
    assert (tmp_path / "plain.parquet").read_bytes() == (tmp_path / "cycles.parquet").read_bytes()


def test_parts_of_several_processes_give_the_bytes_of_one(study, tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "GROUP_ROWS", 1000)  # several row groups a trial
    whole, parts = tmp_path / "whole", tmp_path / "parts"
    whole.mkdir()
    parts.mkdir()
    write_tables(study, whole)
    waiting = [parts / f"{k}.traces" for k in range(len(study.trials))]
    for trial, path in zip(study.trials, waiting, strict=True):
        write_trace_part([trial], path, None)
    dropped = replace(study, trials=tuple(replace(one, paired=None) for one in study.trials))
    write_tables(dropped, parts, trace_parts=[*waiting, parts / "of-a-failed-trial.traces"])
    name = "traces.parquet"
    assert (whole / name).read_bytes() == (parts / name).read_bytes()
    assert not any(path.exists() for path in waiting)
    groups = parquet.ParquetFile(whole / name).metadata
    assert groups.num_row_groups == sum(
        -(-trial.paired.wearable_deg.size // 1000) for trial in study.trials
    )
    assert_same(read_traces(whole)[key(study.trials[0])], study.trials[0].paired)


def long(trial):
    rate = trial.paired.rate_hz
    timing = {"wearable": TimingReport(rate, int(rate * LONGEST_S) + 1, 0, 0, 0.0, 0.0)}
    return replace(trial, timing=timing)


@pytest.mark.parametrize(
    ("said", "kept"), [(None, "short"), (True, "all"), (False, "none")], ids=str
)
def test_traces_of_more_than_two_hours_are_written_on_request_only(study, said, kept, tmp_path):
    trials = (long(study.trials[0]), study.trials[1])
    asked = replace(study, trials=trials, parameters={"report": {"traces": said}})
    write_tables(asked, tmp_path)
    expected = {"short": trials[1:], "all": trials, "none": ()}[kept]
    assert list(read_traces(tmp_path)) == [key(trial) for trial in expected]
    assert (tmp_path / "traces.parquet").exists() == bool(expected)


def test_a_study_without_any_curves_has_neither_file(study, tmp_path):
    failed = TrialResult("P1", "", "indoor", "", "", "vqf", "failed", "no overlap")
    write_tables(replace(study, trials=(failed,)), tmp_path)
    assert not list(tmp_path.glob("*.parquet"))
    assert read_traces(tmp_path) == {}
    with pytest.raises(StudyError, match="no such file"):
        read_cycles(tmp_path)


def test_a_file_that_no_run_wrote_is_told(study, tmp_path):
    (tmp_path / "cycles.parquet").write_bytes(b"not Parquet")
    with pytest.raises(StudyError, match="cannot be read as Parquet"):
        read_cycles(tmp_path)
    write_tables(study, tmp_path)
    (tmp_path / "cycles.parquet").replace(tmp_path / "traces.parquet")
    with pytest.raises(StudyError, match="has the columns participant"):
        read_traces(tmp_path)


def test_other_libraries_read_the_same_numbers(study, tmp_path):
    import pandas as pd

    write_tables(study, tmp_path)
    frame = pd.read_parquet(tmp_path / "cycles.parquet")
    trial = study.trials[0]
    own = frame[(frame[list(IDENTITY)] == pd.Series(key(trial), IDENTITY)).all(axis=1)]
    curves = own.pivot_table(index="cycle", columns="percent", values="wearable_deg")
    np.testing.assert_array_equal(curves.to_numpy(), trial.cycles.wearable_deg)
    assert own.groupby("cycle")["kept"].first().tolist() == trial.cycles.kept.tolist()
