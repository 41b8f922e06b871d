"""Report and figures made again from a finished run: the same bytes, and nothing else touched."""

import importlib.util
from pathlib import Path

import pytest

from twinangle.errors import StudyError
from twinangle.run import write_outputs, write_pages_again

_place = Path(__file__).parents[1] / "report" / "conftest.py"
_spec = importlib.util.spec_from_file_location("invented_results", _place)
_invented = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_invented)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A finished run of one participant."""
    place = tmp_path_factory.mktemp("run")
    results = _invented.build(participants=("P01",), procedures=("kalman",), n=9, minutes=0.1)
    write_outputs(results, place)
    return place


def files(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith(".twinangle-lock")
    }


def test_pages_are_the_same_to_the_byte_and_numbers_are_not_touched(folder):
    before = files(folder)
    stamp = (folder / "results.json").read_text(encoding="utf-8")
    (folder / "report.pdf").unlink()
    (folder / "figures" / "limits-answer.svg").unlink()
    (folder / "tables" / "mine.csv").write_text("a\n1\n")  # of somebody else
    results = write_pages_again(folder)
    assert results.trials[0].participant == "P01"
    assert (folder / "results.json").read_text(encoding="utf-8") == stamp
    after = files(folder)
    assert after.pop("tables/mine.csv") == b"a\n1\n"
    assert after == before


def test_what_was_not_kept_is_named(folder, tmp_path):
    for path in folder.rglob("*"):
        target = tmp_path / path.relative_to(folder)
        if path.is_dir():
            target.mkdir(exist_ok=True)
        elif path.name != "traces.parquet":
            target.write_bytes(path.read_bytes())
    report = (tmp_path / "report.pdf").read_bytes()
    with pytest.raises(StudyError, match=r"traces of P01 indoor .*traces = true` under \[report\]"):
        write_pages_again(tmp_path)
    assert (tmp_path / "report.pdf").read_bytes() == report


def test_a_folder_without_results_is_refused(tmp_path):
    with pytest.raises(StudyError, match=r"results\.json: cannot be read .*output folder of a run"):
        write_pages_again(tmp_path)
