"""The tutorials: what each holds, that no cell goes behind the public names, and the first one run.

`make notebooks` executes all of them as notebooks, each night; here the first runs cell by cell,
its terminal cells in a shell, in the folder that it makes.
"""

from __future__ import annotations

import ast
import builtins
import os
import re
import subprocess
import sys
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

from twinangle.simulate import write_demo_study

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
LEFT_OUT = "# Leave this cell out"
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


def names_read_and_made(cell):
    """Return the names that a cell reads before it makes them itself, and those that it makes."""
    tree = ast.parse(cell)
    read = {n.id for n in ast.walk(tree) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load)}
    made = {
        n.id for n in ast.walk(tree) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            made |= {(each.asname or each.name).split(".")[0] for each in node.names}
        elif isinstance(node, ast.FunctionDef | ast.ClassDef | ast.ExceptHandler) and node.name:
            made.add(node.name)
        elif isinstance(node, ast.arg):
            made.add(node.arg)
    return read - set(dir(builtins)), made


def undefined(several):
    """Return every name that a list of cells reads and none of them has made by then."""
    made, lacking = set(), []
    for cell in several:
        if not cell.startswith(SHELL):
            read, own = names_read_and_made(cell)
            made |= own
            lacking += sorted(read - made)
    return lacking


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_no_cell_needs_one_that_a_reader_is_told_to_leave_out(page):
    stay = [cell for cell in cells(page) if not cell.startswith(LEFT_OUT)]
    assert undefined(stay) == []
    assert undefined(cells(page)) == []


def test_a_name_that_only_a_left_out_cell_makes_is_found():
    assert undefined(["from pathlib import Path\n", "Path()\n"]) == []
    assert undefined(["Path()\n"]) == ["Path"]


def test_the_way_to_the_first_figure_is_short():
    way = PAGES[0].read_text("utf-8").split("# Against a goniometer")[1]
    way = way.split("That is a figure")[0]
    prose = CELL.sub("", way)
    assert len(prose.split()) <= 650


def run_cells(several):
    """Run cells as a notebook does; return what its terminal cells said."""
    there = {**os.environ, "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"}
    names = {"__name__": "__main__"}
    said = []
    with mpl.rc_context({"backend": "agg"}):
        for cell in several:
            if cell.startswith(SHELL):
                done = subprocess.run(
                    ["bash", "-c", cell.removeprefix(SHELL)],
                    env=there, capture_output=True, text=True, check=False,
                )  # fmt: skip
                assert done.returncode == 0, done.stderr
                said.append(done.stdout)
            else:
                exec(compile(cell, PAGES[0].name, "exec"), names)
    return said


@pytest.mark.nightly
def test_the_first_page_runs_on_other_files_without_the_cells_to_leave_out(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_demo_study("invented", participants=2, walk_s=30, hatch_deg=0)
    Path("my_recordings").mkdir()
    units = {"acc": "g", "gyr": "dps", "mag": "uT"}
    words = {"wearable": "sensors", "reference": "goniometer"}
    for path in (each for name in words for each in Path("invented", name).glob("*.csv")):
        frame = pd.read_csv(path)
        for name in frame.columns:
            for short, unit in units.items():
                if f"_{short}_" in name:
                    frame[name] *= {"acc": 1 / 9.80665, "gyr": 180 / np.pi, "mag": 1}[short]
                    frame = frame.rename(columns={name: f"{name} [{unit}]"})
        frame.to_csv(f"my_recordings/{path.stem}_{words[path.parent.name]}.csv", index=False)
    stay = [cell for cell in cells(PAGES[0]) if not cell.startswith(LEFT_OUT)]
    proposed, checked, ran = run_cells(stay)
    assert '"?"' not in proposed
    assert "give no functional movement" in checked
    assert "The answer" in ran


@pytest.mark.nightly
def test_the_first_page_runs_and_its_mistakes_are_told(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    proposed, checked, ran = run_cells(cells(PAGES[0]))
    assert 'gyroscope = "?"' in proposed
    assert "no fault found. 4 of 4 recordings" in checked
    assert "The answer" in ran
    assert "\x1b[" not in ran
    printed = capsys.readouterr().out
    for words in ("'rad/s'", "standing", "thigh_gyro_x", "acceptible_deg"):
        assert words in printed, words
    assert next(Path.cwd().glob("P01_*.png")).stat().st_size > 1000
