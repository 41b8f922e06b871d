"""The tutorials: what each holds, that no cell goes behind the public names, and the first one run.

`make notebooks` executes all of them as notebooks, each night; here the first runs cell by cell,
its terminal cells in a shell, in the folder that it makes.
"""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import matplotlib as mpl
import pytest

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGES = sorted((DOCS / "tutorials").glob("*.md"))
CELL = re.compile(r"^```\{code-cell\} ipython3\n(.*?)^```$", re.MULTILINE | re.DOTALL)
PARTS = (
    "**Aim.**",
    "**Time.**",
    "**You need.**",
    "For research only: not a medical device",
    "ethics\napproval and informed consent",
    "(../how-to/recording.md)",
    "invent",
    "temporary folder",
    "\n## What the numbers mean",
    "\n## Common mistakes, and what the tool says",
    "\n## Next",
)
SHELL = "%%bash\n"
USES = 9  # of the program, a page each
LONGEST = 26  # lines of a cell


def cells(page):
    return CELL.findall(page.read_text("utf-8"))


def name_of(page):
    return page.stem


def test_there_is_a_page_for_each_use():
    assert len(PAGES) == USES
    assert [page.name[:2] for page in PAGES] == [f"{k:02d}" for k in range(1, USES + 1)]
    stored = [path for path in DOCS.rglob("*.ipynb") if "_build" not in path.parts]
    assert stored == []  # with their outputs


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_every_page_has_its_parts(page):
    text = page.read_text("utf-8")
    assert text.startswith("---\nfile_format: mystnb\n")
    assert [part for part in PARTS if part not in text] == []
    assert text.count("```{code-cell}") == len(cells(page)) > 8


def names_behind(tree):
    """Return every name with a leading underscore that a module or a value is asked for."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.ImportFrom | ast.Import):
            yield from (getattr(node, "module", None) or "").split(".")
            yield from (part for each in node.names for part in each.name.split("."))


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_cells_are_short_and_use_public_names(page):
    for cell in cells(page):
        code = re.sub(r'""".*?"""', "", cell, flags=re.DOTALL)  # a study file is as long as it is
        assert code.count("\n") <= LONGEST, cell
        assert not re.search(r"(?<![\w.])/(tmp|home|work|usr|root)\b", cell)
        if not cell.startswith(SHELL):
            behind = [name for name in names_behind(ast.parse(cell)) if name.startswith("_")]
            assert behind == []


@pytest.mark.nightly
def test_the_first_page_runs_and_its_mistakes_are_told(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    there = {**os.environ, "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"}
    names = {"__name__": "__main__"}
    said = []
    with mpl.rc_context({"backend": "agg"}):
        for cell in cells(PAGES[0]):
            if cell.startswith(SHELL):
                done = subprocess.run(
                    ["bash", "-c", cell.removeprefix(SHELL)],
                    env=there, capture_output=True, text=True, check=False,
                )  # fmt: skip
                assert done.returncode == 0, done.stderr
                said.append(done.stdout)
            else:
                exec(compile(cell, PAGES[0].name, "exec"), names)
    described, proposed, checked, ran = said
    assert "knee_deg" in described
    assert 'gyroscope = "?"' in proposed
    assert "no fault found. 4 of 4 recordings" in checked
    assert "The answer" in ran
    assert "\x1b[" not in ran
    printed = capsys.readouterr().out
    for words in ('"rad/s"', "standing", "thigh_gyro_x", "acceptible_deg"):
        assert words in printed, words
    assert (Path.cwd() / "P01.pdf").stat().st_size > 1000
