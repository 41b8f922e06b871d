"""A long recording read in stretches gives the strides of the recording read whole."""

from __future__ import annotations

import io
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

from twinangle import read_results, read_study
from twinangle.analysis import analyse_trial, pool_study
from twinangle.cli.terminal import LongRecordings, progress_bar
from twinangle.errors import StudyError
from twinangle.formats.stretches import about_rows
from twinangle.reached import Reached, read_reached, watched, write_reached
from twinangle.results import TrialResult
from twinangle.run import write_outputs
from twinangle.simulate import write_demo_study
from twinangle.study import Study, Trial
from twinangle.study.settings import ReportSettings

RATE_HZ = 100.0
WALKS_FROM_S = (120.0, 260.0, 300.0, 480.0)  # the third runs over the end of the first stretch
BROKEN_S = (700.0, 1200.0)  # to the end: in the last stretch a gyroscope stands still
HOURS = 1200.0 / 3600.0


def long_frame(short: pd.DataFrame) -> pd.DataFrame:
    """Put the walk of an invented trial into 20 minutes of standing, again and again."""
    body = short.drop(columns="time_s").to_numpy()
    standing = np.concatenate([body[-150:]] * 400)
    walk = body[int(20.0 * RATE_HZ) :]
    whole = np.concatenate([body, standing])[: int(1200.0 * RATE_HZ)].copy()
    whole = np.vstack((whole, standing[: int(1200.0 * RATE_HZ) - len(whole)]))
    for at_s in WALKS_FROM_S:
        row = int(at_s * RATE_HZ)
        whole[row : row + len(walk)] = walk
    low, high = (int(at_s * RATE_HZ) for at_s in BROKEN_S)
    whole[low:high, 3:6] = 0.0  # the proximal gyroscope
    frame = pd.DataFrame(whole, columns=short.columns[1:])
    frame.insert(0, "time_s", np.round(np.arange(len(frame)) / RATE_HZ, 4))
    return frame


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    path = write_demo_study(tmp_path_factory.mktemp("day"), participants=1, walk_s=40.0)
    trial = read_study(path).trials[0]
    assert isinstance(trial.wearable, Path)
    long_frame(pd.read_csv(trial.wearable)).to_csv(trial.wearable, index=False)
    table = pd.read_csv(path.parent / "trials.csv", dtype=str).iloc[:1]
    table.assign(start_s="", end_s="").to_csv(path.parent / "trials.csv", index=False)
    return read_study(path).with_(procedures=["vqf"], stretch_min=5.0)


def first(study: Study) -> Trial:
    return study.trials[0]


@pytest.fixture(scope="module")
def analysed(study: Study) -> tuple[TrialResult, list[tuple[float, float]]]:
    """Return the results, and what was told of the hours meanwhile."""
    told: list[tuple[float, float]] = []
    results = analyse_trial(
        study, first(study), on_stretch=lambda done_h, of_h: told.append((done_h, of_h))
    )
    return results[0], told


@pytest.fixture(scope="module")
def found(analysed) -> TrialResult:
    return analysed[0]


def test_each_stretch_tells_how_far_the_recording_has_come(analysed):
    told = analysed[1]
    done = [hours for hours, _ in told]
    assert len(told) == 4
    assert done == sorted(done)
    assert done[0] < 0.5 * HOURS
    assert done[-1] == pytest.approx(HOURS, rel=1e-3)
    assert all(total == pytest.approx(HOURS, rel=0.02) for _, total in told)


def test_rows_of_a_file_are_told_by_its_size(study, tmp_path):
    source = first(study).wearable
    assert isinstance(source, Path)
    assert about_rows(source) == pytest.approx(HOURS * 3600 * RATE_HZ, rel=0.02)
    frame = pd.DataFrame({"time_s": np.arange(70.0)})
    frame.to_parquet(tmp_path / "few.parquet")
    assert about_rows(tmp_path / "few.parquet") == 70
    (tmp_path / "none.csv").write_text("")
    assert np.isnan(about_rows(tmp_path / "none.csv"))
    assert np.isnan(about_rows(tmp_path / "absent.csv"))


def test_the_bar_of_a_long_recording_shows_its_hours(tmp_path):
    out = io.StringIO()
    progress = progress_bar()
    progress.live.console = Console(file=out, width=80)
    far = LongRecordings(progress)
    for done_h in (3.0, 7.5):
        write_reached(tmp_path / "one.reached", Reached("P01 1 [day]", done_h, 23.9))
    (tmp_path / "half.reached").write_text("{")
    for one in read_reached(tmp_path):
        far.reached(one)
    progress.console.print(progress.get_renderable())
    assert "hours of P01 1 [day]" in out.getvalue()
    assert "7/24" in out.getvalue()
    far.done("P01 1 [day]")
    assert not progress.tasks


def test_a_run_looks_while_it_runs_and_leaves_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr("twinangle.reached.EVERY_S", 0.01)
    seen = threading.Event()
    told: list[Reached] = []

    def on_reached(one: Reached) -> None:
        told.append(one)
        seen.set()

    with watched(tmp_path, on_reached):
        write_reached(tmp_path / "one.reached", Reached("P01", 1.0, 2.0))
        assert seen.wait(10.0)
    assert told[0] == Reached("P01", 1.0, 2.0)
    assert [path.name for path in tmp_path.iterdir()] == ["one.reached"]


def test_strides_are_those_of_the_whole(study):
    """The whole is read at once, up to where the sensor breaks; nothing of it has a reference.

    The stretches take their calibration from a recording of its own, so that headings settle
    otherwise than over the whole: 0.15° RMS of the strides' means, measured.
    """
    alone = replace(first(study), reference=None, end_s=BROKEN_S[0])
    (whole,) = analyse_trial(study.with_(stretch_min=None), alone)
    (found,) = analyse_trial(study, replace(first(study), reference=None))
    assert whole.cycles is not None
    assert found.daily is not None
    kept = whole.cycles.kept
    assert found.daily.n_strides == kept.sum()
    numbered = [whole.cycles.bout == k for k in np.unique(whole.cycles.bout) if k]
    ends = [(whole.cycles.start_s[on][0], whole.cycles.end_s[on][-1]) for on in numbered]
    bouts = [(bout.start_s, bout.end_s) for bout in found.daily.bouts]
    np.testing.assert_allclose(bouts, ends, atol=1e-3)
    assert any("turn" in text for text in whole.cycles.reason)  # they end no bout
    curves = whole.cycles.wearable_deg[kept]
    (day,) = found.daily.days
    assert day.range_deg == pytest.approx(np.median(np.ptp(curves, axis=1)), abs=0.3)
    assert day.mean_deg == pytest.approx(np.median(curves.mean(axis=1)), abs=0.3)


def test_what_could_not_be_analysed_is_told_and_the_rest_stands(found):
    assert found.status == "ok"
    assert found.agreement is not None  # with the reference of the first walk
    assert found.daily is not None
    assert found.daily.n_stretches == 4
    assert found.daily.unread
    assert all("'thigh_gyr_x' holds the same value" in text for text in found.daily.unread)
    assert any("stretches could not be analysed" in text for text in found.warnings)
    assert found.daily.beyond is not None
    assert found.daily.beyond.n_with == found.cycles.kept.sum()
    assert found.daily.recorded_h == pytest.approx(HOURS, rel=1e-3)


def test_the_agreement_is_that_of_the_first_stretch_alone(study, found):
    (alone,) = analyse_trial(study.with_(stretch_min=None), replace(first(study), end_s=420.0))
    assert found.agreement is not None
    assert alone.agreement is not None
    assert found.agreement.offset == pytest.approx(alone.agreement.offset, abs=0.02)
    assert found.agreement.rms_demeaned == pytest.approx(alone.agreement.rms_demeaned, abs=0.02)


@pytest.mark.nightly
def test_two_files_are_those_of_one(study, found, tmp_path):
    """Both sensors' columns in files of their own, on one clock."""
    source = first(study).wearable
    assert isinstance(source, Path)
    frame = pd.read_csv(source)
    text = study.path.read_text(encoding="utf-8")
    names = [name for name in frame.columns if name != "time_s"]
    for place, part in (("proximal", names[:9]), ("distal", names[9:])):
        frame[["time_s", *part]].to_csv(tmp_path / f"P01_indoor_{place}.csv", index=False)
    reference = first(study).reference
    assert isinstance(reference, Path)
    (tmp_path / "reference").mkdir()
    (tmp_path / "reference/P01_indoor.csv").write_bytes(reference.read_bytes())
    table = pd.read_csv(study.folder / "trials.csv", dtype=str)
    table.assign(wearable="P01_indoor").to_csv(tmp_path / "trials.csv", index=False)
    files = "".join(f'{place} = "{{wearable}}_{place}.csv"\n' for place in ("proximal", "distal"))
    (tmp_path / "study.toml").write_text(f"{text}\n[wearable.files]\n{files}", encoding="utf-8")
    two = read_study(tmp_path).with_(procedures=["vqf"], stretch_min=5.0)
    (other,) = analyse_trial(two, two.trials[0])
    assert other.daily is not None, other.reason
    assert found.daily is not None
    assert other.daily.bouts == found.daily.bouts
    assert other.daily.days == found.daily.days


def test_results_are_written_reported_and_read_back(study, found, tmp_path):
    short = replace(study, report=ReportSettings(documents=("report.html",)))
    results = pool_study(short, (found,))
    write_outputs(results, tmp_path / "out")
    back = read_results(tmp_path / "out")
    assert repr(back.trials[0].daily) == repr(results.trials[0].daily)
    days = pd.read_csv(tmp_path / "out/tables/daily_days.csv")
    assert days["n_strides"].sum() == results.trials[0].daily.n_strides
    page = (tmp_path / "out/report.html").read_text(encoding="utf-8")
    assert "Daily life" in page
    assert "was not measured" in page
    assert not any("check that both are of one trial" in note for note in results.notes)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"static": "late"}, "ends after the first stretch"),
        ({"wearable": "memory"}, "in memory is not read in stretches"),
    ],
)
def test_what_cannot_be_read_in_stretches_is_refused(study, change, said):
    from twinangle.formats import read_recording
    from twinangle.signals.recording import Interval

    trial = first(study)
    if "static" in change:
        trial = replace(trial, static=Interval(900.0, 905.0))
    else:
        assert isinstance(trial.wearable, Path)
        trial = replace(trial, wearable=read_recording(trial.wearable, time="time_s"))
    (found,) = analyse_trial(study, trial)
    assert found.status == "failed"
    assert said in found.reason


def test_the_section_of_the_study_file_is_checked(study):
    with pytest.raises(StudyError, match="stretch_min"):
        study.with_(stretch_min=1.0)
