"""Every snippet of docs/reference/python.md runs, docstrings' examples hold, texts are paths."""

from __future__ import annotations

import doctest
import importlib
import inspect
import re
import typing
from pathlib import Path
from unittest.mock import create_autospec

import pytest

import twinangle
import twinangle.run
from twinangle.run import write_outputs
from twinangle.simulate import write_demo_study

PAGE = Path(__file__).resolve().parents[2] / "docs/reference/python.md"
TAKE_PATHS = (
    "twinangle:read_study", "twinangle:read_results", "twinangle:write_outputs",
    "twinangle:write_demo_study", "twinangle.run:run_into", "twinangle.run:write_pages_again",
    "twinangle.verify:verify", "twinangle.verify:compare", "twinangle.report:write_report",
    "twinangle.formats:read_recording", "twinangle.formats:read_event_times",
    "twinangle.formats:describe_file", "twinangle.formats:companion_files",
    "twinangle.init:propose_study", "twinangle.init:write_proposal",
    "twinangle.export:export_study", "twinangle.results.tables:read_cycles",
    "twinangle.results.tables:read_traces",
)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page") / "study"
    write_demo_study(str(folder), participants=1, walk_s=25.0, conditions=["indoor"])
    text = (folder / "study.toml").read_text("utf-8")  # one quick procedure is enough
    (folder / "study.toml").write_text(
        re.sub(r"procedures = \[.*?\]", 'procedures = ["vqf"]', text)
    )
    return folder


def test_the_page_runs_from_top_to_bottom(folder, monkeypatch):
    monkeypatch.chdir(folder)
    # Other tests write reports; here it is enough that the call is right.
    written = create_autospec(write_outputs)
    monkeypatch.setattr(twinangle.run, "write_outputs", written)
    snippets = re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    assert len(snippets) == 6
    names: dict[str, object] = {}
    for snippet in snippets:
        exec(compile(snippet, "docs/reference/python.md", "exec"), names)
    written.assert_called_once_with(names["results"], "results")
    assert names["results"].trials[0].status == "ok"
    assert (folder / "mine.png").read_bytes().startswith(b"\x89PNG")
    assert names["mine"].trials[0].status == "ok"


@pytest.mark.parametrize("where", TAKE_PATHS)
def test_a_text_is_taken_wherever_a_path_is(where):
    module, name = where.split(":")
    function = getattr(importlib.import_module(module), name)
    hints = typing.get_type_hints(function)
    of_paths = [
        hint for key, hint in hints.items()
        if key != "return" and (hint is Path or Path in typing.get_args(hint))
    ]  # fmt: skip
    assert of_paths
    for hint in of_paths:
        assert str in typing.get_args(hint), where


def test_the_examples_of_docstrings_hold():
    for module in ("twinangle.study.study_file", "twinangle.agreement.limits"):
        found = doctest.testmod(importlib.import_module(module))
        assert found.attempted > 2
        assert found.failed == 0


def test_public_functions_say_what_they_take():
    for name in twinangle.__all__:
        each = getattr(twinangle, name)
        if callable(each):
            assert inspect.getdoc(each)
