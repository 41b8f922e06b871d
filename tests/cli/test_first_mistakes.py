"""One slip a command, as somebody new to it makes: what was found, and what is accepted."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from twinangle.cli import app


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A file that is empty, one of a word, a folder with nothing in it, and a study's beginning."""
    folder = tmp_path_factory.mktemp("slips")
    (folder / "empty.toml").touch()
    (folder / "empty.csv").touch()
    (folder / "word.txt").write_text("hello\n", encoding="utf-8")
    (folder / "nothing").mkdir()
    (folder / "study.toml").write_text('[study]\njoint = "knee"\n', encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        (("check", "empty.toml"), 1, "empty.toml: is empty; `twinangle init FOLDER` drafts"),
        (("check", "word.txt"), 1, "Is it a study file (study.toml)?"),
        (("check", "nothing"), 1, "there is no such file; give the path of a study file"),
        (("describe", "empty.csv"), 1, "empty.csv: is empty"),
        (("describe", "nothing"), 1, "nothing: is a folder; give a file"),
        (("init", "empty.csv"), 1, "give the folder that holds the recordings"),
        (("init", "nothing"), 1, "It holds no file of a known format"),
        (("schema", "study.toml"), 2, "unexpected extra argument"),
        (("export", "study.toml"), 2, "Missing option '--to'"),
        (("verify", "word.txt"), 1, "Name the output folder of a run"),
        (("compare", "nothing", "nothing"), 1, "Name the output folder of a run"),
        (("review", "study.toml", "--who", "Jo Do"), 2, "'--who': 'Jo Do' is no code"),
        (("plan", "--sd-between", "2", "--precision", "0"), 1, "--precision must be above 0"),
        (("plan", "--cycles", "9", "--sd-ratio", "-1"), 1, "--sd-ratio must be above 0"),
        (("protocol", "empty.toml"), 1, "empty.toml: is empty"),
        (("report", "nothing", "--dpi", "5"), 2, "--dpi: 5 is not between"),
        (("report", "nothing", "--width", "3"), 2, "--width: 3 is not between 80 and 200"),
        (("report", "nothing", "--format", "gif"), 2, "--format: 'gif' is not one of pdf"),
        (("report", "nothing", "--image", "gif"), 2, "'--image': 'gif' is not one of pdf"),
        (("demo", "word.txt"), 1, "cannot be written"),
        (("cache", "--clea"), 2, "--clear"),
    ],
)
def test_a_slip_is_told(folder, monkeypatch, words, status, told):
    monkeypatch.chdir(folder)
    said = CliRunner().invoke(app, list(words))
    text = said.output if said.exit_code == 2 else f"{said.output}{said.exception}"
    assert told in " ".join(text.split())
    assert (said.exit_code if status == 2 else 1) == status


def test_a_file_in_the_place_of_what_is_kept_is_told(folder, monkeypatch):
    monkeypatch.setenv("TWINANGLE_KEPT", str(folder / "word.txt"))
    said = CliRunner().invoke(app, ["cache"])
    assert "must name a folder" in str(said.exception)


def test_a_scheduler_without_a_port_is_refused_before_anything_is_begun():
    from twinangle.cluster.scheduler import _connected
    from twinangle.errors import StudyError

    pytest.importorskip("distributed")
    with pytest.raises(StudyError, match=r"no scheduler answers at 'here'.*Accepted"):
        _connected("here")
