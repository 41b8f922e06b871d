"""Every mistake of the catalogue is told, harmless, or listed with the reason why it is neither."""

from __future__ import annotations

from pathlib import Path

import pytest
from awaited import AWAITED
from catalogue import AREAS, MISTAKES, as_table
from judging import against, outcome_of
from scene import Scene, tell, write_honest

DOCS = Path(__file__).parents[2] / "docs" / "reference" / "mistakes.md"
QUICK = [one for one in MISTAKES if not one.slow]


@pytest.fixture(scope="module")
def honest(tmp_path_factory):
    return write_honest(tmp_path_factory.mktemp("honest") / "study")


@pytest.fixture(scope="module")
def clean(honest, tmp_path_factory):
    """The correct study, analysed: what is told of it and its numbers."""
    scene = Scene(honest, tmp_path_factory.mktemp("clean") / "study")
    return tell(scene.folder)


def test_the_correct_study_is_told_nothing_but_that_it_is_short(clean):
    assert clean.faults == ()
    assert {getattr(text, "kind", "other") for text in clean.warnings} <= {"few-cycles"}
    offset, rms = clean.numbers()
    assert abs(offset) < 3
    assert rms < 0.5


def row(one):
    awaited = pytest.mark.xfail(one.name in AWAITED, reason="not named yet", strict=True)
    return pytest.param(one, id=one.name, marks=awaited)


@pytest.mark.parametrize("mistake", [row(one) for one in QUICK])
def test_a_mistake_is_what_the_catalogue_says(mistake, honest, clean):
    assert against(mistake, outcome_of(mistake, honest), clean) == ""


def test_the_catalogue_is_large_whole_and_without_repeats():
    assert len(MISTAKES) >= 50
    names = [one.name for one in MISTAKES]
    assert len(set(names)) == len(names)
    assert {one.area for one in MISTAKES} == set(AREAS)
    assert set(names) >= AWAITED
    for one in MISTAKES:
        assert (one.outcome == "told") == bool(one.words)
        assert (one.outcome == "told") != bool(one.reason), one.name


def test_the_docs_hold_the_catalogue():
    assert as_table() in DOCS.read_text(encoding="utf-8")
