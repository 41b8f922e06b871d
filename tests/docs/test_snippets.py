"""What the README and the pages tell people to type works: commands, Python, study files, JSON.

One invented participant, recorded twice, stands for the reader's study: the files, the study file
and the trials table are those of the page on a study of one's own, to the letter, but for the
procedures: one of the two is enough. What takes long (pages again, verifying, the demo) is typed
where TWINANGLE_NIGHTLY is set, and there alone.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import tomllib
from functools import cache
from pathlib import Path
from unittest.mock import create_autospec

import jsonschema
import pytest
from markdown_it import MarkdownIt
from typer.testing import CliRunner

import twinangle.report
from twinangle.cli import app
from twinangle.formats import read_recording
from twinangle.report import write_report
from twinangle.results.read_back import read_results
from twinangle.signals.timing import regularise
from twinangle.simulate import write_demo_study
from twinangle.study import read_study
from twinangle.study.schema import study_schema
from twinangle.wearable.sensor_pair import build_sensor_pair

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
OWN = DOCS / "how-to/own-study.md"
PAGES = [ROOT / "README.md", *sorted(DOCS.glob("*/*.md"))]
PAGES = [page for page in PAGES if page.parent.name != "tutorials"]  # those are executed whole
NIGHTLY = bool(os.environ.get("TWINANGLE_NIGHTLY"))
SLOW = ("report", "verify", "demo")
ELSEWHERE = {"review": "tests/review", "python.md": "tests/notebook/test_python_page.py"}
GIVEN = {"FOLDER": "FOLDER", "FILE": "P01_hall.csv"}


@cache
def fences(page):
    return [each for each in MarkdownIt().parse(page.read_text("utf-8")) if each.type == "fence"]


def blocks(page, language):
    return [each.content for each in fences(page) if each.info.strip() == language]


def commands(page):
    """Return what a reader can type of a page: fenced lines, and the first cells of tables."""
    lines = [line for block in blocks(page, "") for line in block.split("\n")]
    lines += re.findall(r"^\| `(twinangle [^`]*)` \|", page.read_text("utf-8"), re.MULTILINE)
    typed = [line.split(" #")[0].strip() for line in lines if line.startswith("twinangle ")]
    return [line for line in typed if "[" not in line]  # a line with [options] is a summary


TYPED = list(dict.fromkeys(line for page in PAGES for line in commands(page)))
PYTHON = [page for page in PAGES if blocks(page, "python") and page.name not in ELSEWHERE]


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """Return the folder of a study as the page has it, with its results."""
    demo, folder = tmp_path_factory.mktemp("demo"), tmp_path_factory.mktemp("own")
    write_demo_study(demo, participants=1, walk_s=25.0)
    shutil.copy(demo / "wearable/P01_indoor.csv", folder / "P01_hall.csv")
    shutil.copy(demo / "reference/P01_indoor.csv", folder / "P01_hall_goniometer.csv")
    shutil.copy(demo / "wearable/P01_outdoor.csv", folder / "P01_path.csv")
    shutil.copytree(folder, folder / "FOLDER")
    text = blocks(OWN, "toml")[0]
    assert 'procedures = ["kalman", "vqf"]' in text
    text = text.replace('["kalman", "vqf"]', '["kalman"]')
    (folder / "study.toml").write_text(text, "utf-8")
    (table,) = [block for block in blocks(OWN, "") if block.startswith("participant,")]
    (folder / "trials.csv").write_text(table, "utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        typed("twinangle run study.toml --out results")
    shutil.copytree(folder / "results", folder / "other-results")
    return folder


def typed(line):
    words = shlex.split(line.split(" > ")[0].replace(" --jobs 2", ""))[1:]
    done = CliRunner().invoke(app, [GIVEN.get(word, word) for word in words])
    assert done.exit_code == 0, (line, done.output, done.exception)
    return done.output


@pytest.mark.parametrize("line", TYPED)
def test_what_can_be_typed_works(line, study, monkeypatch):
    monkeypatch.chdir(study)
    command = line.split()[1]
    if command in ELSEWHERE:
        pytest.skip(f"waits for a browser: {ELSEWHERE[command]}")
    if command in SLOW and not NIGHTLY:
        pytest.skip("takes long: nightly")
    if command == "run":
        assert "results rest" not in line
        assert (study / "results/report.pdf").is_file()  # typed once, for every test
        return
    assert typed(line).strip() or command == "export"


def test_every_command_is_among_what_can_be_typed():
    known = {each.name or each.callback.__name__ for each in app.registered_commands}
    assert {line.split()[1] for line in TYPED} == known
    assert all((ROOT / place).exists() for place in ELSEWHERE.values())


def test_commands_and_options_in_sentences_exist(reference_blocks):
    told = (DOCS / "reference/commands.md").read_text("utf-8")
    seen = 0
    for page in PAGES:
        for line in re.findall(r"`(twinangle [^`\n]*)`", page.read_text("utf-8")):
            words = line.split()
            options = [word.strip("[],") for word in words if word.strip("[").startswith("--")]
            named = words[1] if not words[1].startswith("-") and words[1] != "COMMAND" else None
            part = (
                told
                if named is None
                else told.split(f"## `twinangle {named}`\n")[1].split("\n## ")[0]
            )
            assert all(
                option in (*part.split(), "--help") or option in part for option in options
            ), line
            seen += 1
    assert seen > 20


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_benchmarks_and_targets_that_are_named_exist(page):
    makefile = (ROOT / "Makefile").read_text("utf-8")
    text = page.read_text("utf-8")
    for target in re.findall(r"`make (\w+)`|^make (\w+)", text, re.MULTILINE):
        assert re.search(rf"^{''.join(target)}:", makefile, re.MULTILINE), target
    for line in re.findall(r"`python3? ((?:-m )?benchmarks[./][^`]*)`", " ".join(text.split())):
        words = line.removeprefix("-m ").split()
        name = words[0].removesuffix(".py").replace(".", "/")
        code = (ROOT / f"{name}.py").read_text("utf-8")
        for option in (word for word in words if word.startswith("--")):
            assert f'"{option}"' in code, line


@pytest.fixture(scope="module")
def given(study):
    """Return what snippets take for granted: `results` of a run, and a `pair` of sensors."""
    loaded = read_study(study)
    wearable, trial = loaded.wearable, loaded.trials[0]
    recording = read_recording(trial.wearable, columns=wearable.columns, time=wearable.time)
    pair = build_sensor_pair(regularise(recording)[0], wearable)
    return {"results": read_results(study / "results"), "pair": pair}


@pytest.mark.parametrize("page", PYTHON, ids=lambda page: page.name)
def test_python_runs_from_top_to_bottom(page, study, given, monkeypatch, tmp_path):
    for path in study.iterdir():
        copy = shutil.copytree if path.is_dir() else shutil.copy
        copy(path, tmp_path / path.name)
    monkeypatch.chdir(tmp_path)
    # Other tests write reports; here it is enough that the call is right.
    monkeypatch.setattr(twinangle.report, "write_report", create_autospec(write_report))
    names = dict(given)
    for snippet in blocks(page, "python"):
        exec(compile(snippet, str(page), "exec"), names)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_toml_and_json_are_sound(page):
    schema = study_schema()
    for text in blocks(page, "toml"):
        parts = tomllib.loads(text)
        for name in parts.keys() & schema["properties"].keys():
            part = {**schema["properties"][name], "$defs": schema["$defs"]}
            faults = jsonschema.Draft202012Validator(part).iter_errors(parts[name])
            # A page may show one part of a section: then only what it lacks is missing.
            assert not [each for each in faults if not partial(each)], text
    for text in blocks(page, "json"):
        for line in text.strip().split("\n"):
            json.loads(line)


def partial(fault):
    """Whether a fault is only that a section is not shown whole."""
    if fault.validator == "required":
        return True
    return fault.validator == "oneOf" and any(
        all(each.validator in ("required",) for each in branch)
        for branch in _by_branch(fault.context)
    )


def _by_branch(context):
    branches = {}
    for each in context:
        branches.setdefault(each.schema_path[0], []).append(each)
    return branches.values()
