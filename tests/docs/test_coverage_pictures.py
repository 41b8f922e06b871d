"""Pictures of coverage are what the script draws from the tables of numbers, and are shown."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import matplotlib as mpl
import pytest

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "docs/background/data"


@pytest.fixture(scope="module")
def pictures():
    path = ROOT / "docs/extensions/coverage_pictures.py"
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def pages():
    return "".join(page.read_text("utf-8") for page in (ROOT / "docs/background").glob("*.md"))


def drawn_with() -> str:
    """Return the version of matplotlib that the pinned requirements name."""
    pins = (ROOT / "requirements.txt").read_text("utf-8").splitlines()
    return next(pin.partition("==")[2] for pin in pins if pin.startswith("matplotlib=="))


def test_every_picture_is_what_the_script_draws(pictures, tmp_path):
    if mpl.__version__ != drawn_with():
        pytest.skip(f"pictures are drawn with matplotlib {drawn_with()}")
    pictures.main(tmp_path)
    drawn = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    committed = {
        path.name: path.read_bytes() for path in (ROOT / "docs/images").glob("coverage-*.svg")
    }
    assert sorted(drawn) == sorted(committed)
    assert [name for name in drawn if drawn[name] != committed[name]] == []


def test_a_changed_number_changes_the_picture(pictures, tmp_path):
    rows = [dict(row) for row in pictures.tables()["curve-bands"]]
    rows[0]["low"] = "50"
    with mpl.rc_context(pictures.STYLE):
        pictures.save(pictures.draw(rows), tmp_path / "other.svg")
    committed = ROOT / "docs/images/coverage-curve-bands.svg"
    assert (tmp_path / "other.svg").read_bytes() != committed.read_bytes()


def test_every_picture_and_table_is_on_a_page(pictures, pages):
    assert [name for name in pictures.tables() if f"coverage-{name}.svg" not in pages] == []
    assert [path.name for path in DATA.glob("*.csv") if f"data/{path.name}" not in pages] == []


def test_every_range_is_a_share_in_order(pictures):
    for name, rows in pictures.tables().items():
        for row in rows:
            low, *others = [float(row[key]) for key in ("low", "mean", "high") if row[key]]
            assert 0 <= low <= max(others, default=low) <= 100, (name, row)
