import json
import os
from pathlib import Path

import pytest

from twinangle import run
from twinangle.errors import StudyError
from twinangle.options import Options
from twinangle.output_folder import (
    MANIFEST,
    UNFINISHED,
    check_output_folder,
    settle,
    staged,
    staging,
)
from twinangle.platform_calls import locked
from twinangle.results import StudyResults
from twinangle.run import write_outputs

OPTIONS = Options(
    confidence=0.95,
    margin_deg=5.0,
    error_ratio=None,
    published_interval=False,
    reference_sd_deg=None,
    against=None,
    seed=20,
)


def empty_results(title="A"):
    return StudyResults(
        title=title,
        joint="knee",
        options=OPTIONS,
        trials=(),
        limits=(),
        conditions=(),
        version="0",
        inputs=(),
        parameters={},
    )


@pytest.fixture
def short_report(monkeypatch):
    """Stand in for the report, which has tests of its own: two small files."""

    def write(results, folder, *, jobs=1, image_formats=()):
        (folder / "figures").mkdir()
        (folder / "figures" / f"{results.title}.pdf").write_text("figure")
        (folder / "report.pdf").write_text(f"report {results.title}")

    monkeypatch.setattr(run, "write_report", write)


def names(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def test_everything_arrives_and_nothing_temporary_stays(short_report, tmp_path):
    write_outputs(empty_results(), tmp_path / "out")
    assert names(tmp_path / "out") == [MANIFEST, "figures/A.pdf", "report.pdf", "results.json"]
    assert [p.name for p in tmp_path.iterdir()] == ["out"]
    assert json.loads((tmp_path / "out/results.json").read_text())["schema"] == 2


def test_a_second_run_drops_its_own_outdated_files_and_no_other(short_report, tmp_path):
    write_outputs(empty_results("A"), tmp_path / "out")
    (tmp_path / "out/figures/mine.txt").write_text("notes")
    write_outputs(empty_results("B"), tmp_path / "out")
    assert "figures/A.pdf" not in names(tmp_path / "out")
    assert {"figures/B.pdf", "figures/mine.txt"} <= set(names(tmp_path / "out"))


def test_a_failed_run_leaves_the_earlier_results_as_they_were(short_report, tmp_path, monkeypatch):
    write_outputs(empty_results("A"), tmp_path / "out")
    before = {n: (tmp_path / "out" / n).read_bytes() for n in names(tmp_path / "out")}

    def fails(results, folder, **_):
        (folder / "report.pdf").write_text("half")
        raise RuntimeError("power cut")

    monkeypatch.setattr(run, "write_report", fails)
    with pytest.raises(RuntimeError, match="power cut"):
        write_outputs(empty_results("B"), tmp_path / "out")
    assert {n: (tmp_path / "out" / n).read_bytes() for n in names(tmp_path / "out")} == before
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_list_of_outputs_that_points_elsewhere_removes_nothing_there(short_report, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "precious.txt").write_text("keep")
    (tmp_path / "out" / MANIFEST).write_text('["../precious.txt"]')
    write_outputs(empty_results(), tmp_path / "out")
    assert (tmp_path / "precious.txt").read_text() == "keep"


@pytest.mark.parametrize("inside", ["study", "."])
def test_an_output_folder_that_holds_the_study_is_refused(tmp_path, inside):
    (tmp_path / "study").mkdir()
    with pytest.raises(StudyError, match="holds the study itself"):
        check_output_folder(tmp_path / inside, study_folder=tmp_path / "study", inputs=[])


def test_an_output_folder_that_holds_an_input_is_refused(tmp_path):
    study = tmp_path / "study"
    with pytest.raises(StudyError, match=r"a\.csv lies in it"):
        check_output_folder(study / "data", study_folder=study, inputs=[study / "data/a.csv"])


def test_a_file_is_no_output_folder(tmp_path):
    (tmp_path / "out").write_text("")
    with pytest.raises(StudyError, match="this is a file"):
        check_output_folder(tmp_path / "out", study_folder=tmp_path / "study", inputs=[])


@pytest.mark.parametrize(
    ("place", "message"),
    [
        ("a_file/out", "a_file is a file, and no folder can lie beneath it"),
        ("x" * 300, "cannot be written"),
        ("/proc/x", "cannot be written"),
    ],
)
def test_a_place_that_cannot_be_written_is_refused_before_anything_is_written(
    tmp_path, place, message
):
    if place.startswith("/proc") and not Path("/proc").is_dir():
        pytest.skip("this system has no /proc")
    (tmp_path / "a_file").write_text("")
    with pytest.raises(StudyError, match=message):  # noqa: PT012 - either of the two may refuse
        check_output_folder(tmp_path / place, study_folder=tmp_path / "study", inputs=[])
        with staged(tmp_path / place):
            pytest.fail("was lent")
    assert os.listdir(tmp_path) == ["a_file"]


def test_no_room_is_told_before_anything_is_computed(tmp_path, monkeypatch):
    def full(folder):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(staging, "probe", full)
    with pytest.raises(StudyError, match=r"cannot be written \(No space left"), staged(tmp_path):
        pytest.fail("was lent")
    assert not os.listdir(tmp_path)


def test_a_file_of_the_same_bytes_stays_where_it_is_unless_somebody_changed_it(tmp_path):
    def write(*names):
        with staged(tmp_path) as place:
            for name in names:
                (place / name).write_text(name)

    write("same.csv", "edited.csv")
    (tmp_path / "edited.csv").write_text("edited")
    before = (tmp_path / "same.csv").stat()
    write("same.csv", "edited.csv", "new.csv")
    after = (tmp_path / "same.csv").stat()
    assert (after.st_ino, after.st_mtime_ns) == (before.st_ino, before.st_mtime_ns)
    found = {path.name: path.read_text() for path in tmp_path.glob("*.csv")}
    assert found == {name: name for name in ("same.csv", "edited.csv", "new.csv")}
    assert set(json.loads((tmp_path / MANIFEST).read_text())) == set(found)


@pytest.mark.parametrize("name", ["report.pdf", "results.json"])
def test_a_file_of_somebody_else_under_a_name_of_ours_is_refused(short_report, tmp_path, name):
    (tmp_path / name).write_text("{}")
    with pytest.raises(StudyError, match=f"{name} is there already, and no run wrote it"):
        write_outputs(empty_results(), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_copy_without_hidden_files_is_a_run_s_own(short_report, tmp_path):
    write_outputs(empty_results("A"), tmp_path)
    (tmp_path / MANIFEST).unlink()
    write_outputs(empty_results("B"), tmp_path)
    assert (tmp_path / "report.pdf").read_text() == "report B"
    assert "figures/A.pdf" in names(tmp_path)  # nobody knows whose it is, so it stays


def test_a_stranger_s_figure_waits_with_the_results_unlost(short_report, tmp_path):
    (tmp_path / "figures").mkdir()
    (tmp_path / "figures/A.pdf").write_text("mine")
    with pytest.raises(StudyError, match=r"figures/A\.pdf is there already.*Move it away"):
        write_outputs(empty_results("A"), tmp_path)
    assert (tmp_path / "figures/A.pdf").read_text() == "mine"
    assert "UNFINISHED" in (tmp_path / UNFINISHED).read_text()
    with pytest.raises(StudyError, match="Move it away"):
        settle(tmp_path)
    (tmp_path / "figures/A.pdf").rename(tmp_path / "figures/mine.pdf")
    (told,) = settle(tmp_path)
    assert "holds that run's results whole" in told
    assert names(tmp_path) == [
        MANIFEST, "figures/A.pdf", "figures/mine.pdf", "report.pdf", "results.json",
    ]  # fmt: skip


def test_an_outdated_file_that_somebody_changed_stays(short_report, tmp_path):
    write_outputs(empty_results("A"), tmp_path)
    (tmp_path / "figures/A.pdf").write_text("redrawn by hand")
    write_outputs(empty_results("B"), tmp_path)
    assert (tmp_path / "figures/A.pdf").read_text() == "redrawn by hand"


def test_two_runs_do_not_write_into_one_folder(short_report, tmp_path, monkeypatch):
    monkeypatch.setattr(staging, "locked", lambda path: locked(path, wait_s=0.1))
    with (
        staged(tmp_path / "out"),
        pytest.raises(StudyError, match="another run is writing into it"),
    ):
        write_outputs(empty_results(), tmp_path / "out")
    write_outputs(empty_results(), tmp_path / "out")  # and when it has ended, it works


def test_results_whose_staging_is_lost_are_replaced_by_the_next_run(short_report, tmp_path):
    write_outputs(empty_results("A"), tmp_path)
    plan = {
        "staging": ".twinangle-staging-gone",
        "new": {"report.pdf": "0" * 64, "../outside": "0" * 64},
        "replaced": ["report.pdf"],
        "outdated": {"figures/A.pdf": ""},
    }
    text = f"What is left to do, for the program:\n{json.dumps(plan)}"
    (tmp_path / UNFINISHED).write_text(text)
    with pytest.raises(StudyError, match=r"report\.pdf is lost"):
        settle(tmp_path)
    with pytest.warns(UserWarning, match="This run does so"):
        write_outputs(empty_results("B"), tmp_path)
    assert names(tmp_path) == [MANIFEST, "figures/B.pdf", "report.pdf", "results.json"]


def test_a_notice_of_somebody_else_is_none(tmp_path):
    (tmp_path / UNFINISHED).write_text("What is left to do, for the program:\n[1]")
    assert settle(tmp_path) == ()
