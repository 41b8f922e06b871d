import json

import pytest

from twinangle import outputs
from twinangle.errors import StudyError
from twinangle.options import Options
from twinangle.outputs import MANIFEST, check_output_folder, write_outputs
from twinangle.results import StudyResults

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

    monkeypatch.setattr(outputs, "write_report", write)


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

    monkeypatch.setattr(outputs, "write_report", fails)
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
