"""The paper kit of studies that are unlike the usual one: nothing empty, clipped or lost."""

import matplotlib as mpl
import pytest

from twinangle.kept.making import Steps
from twinangle.parallel import Workers
from twinangle.plotting.looks import styled
from twinangle.report.figures import OF_A_PAPER
from twinangle.report.paper import begin_paper
from twinangle.report.paper.tables import paper_tables
from twinangle.report.paper.texts import methods_document, results_document

LONG = "the longest name that anybody ever gave to a group of people who walk"
STUDIES = {
    "one": {"participants": ("P01",), "procedures": ("vqf",)},
    "forty": {"participants": tuple(f"P{k:02d}" for k in range(1, 41)), "procedures": ("vqf",),
              "conditions": ("indoor",)},
    "no reference": {"participants": ("P01", "P02"), "reference": ()},
    "names": {"participants": (LONG, "参加者", "مشارك"), "conditions": (LONG, "屋外"),
              "reference": (LONG,), "procedures": ("kalman-two-sensors-and-more", "vqf")},
}  # fmt: skip


@pytest.fixture(scope="module", params=sorted(STUDIES))
def odd(request, build_results):
    return build_results(**STUDIES[request.param], n=8, minutes=0.2)


def check_inside(item, renderer):
    """Every text of a figure lies in it, but for what scales hold outside their view."""
    figure = item.figure
    figure.draw(renderer)
    texts = []
    for axes in figure.axes:
        texts += [*axes.texts, axes.xaxis.label, axes.yaxis.label, axes._left_title]
        low, high = sorted(axes.get_ylim())
        pairs = zip(axes.get_yticks(), axes.get_yticklabels(), strict=False)
        texts += [label for place, label in pairs if low <= place <= high]
    for text in texts:
        if text.get_text() and text.get_visible():
            box = text.get_window_extent(renderer)
            assert box.x0 >= -1.5, (item.name, text.get_text())
            assert box.x1 <= figure.bbox.x1 + 1.5, (item.name, text.get_text())
            assert box.y0 >= -1.5, (item.name, text.get_text())
            assert box.y1 <= figure.bbox.y1 + 1.5, (item.name, text.get_text())


@pytest.mark.parametrize("width", [85.0, pytest.param(178.0, marks=pytest.mark.nightly)])
@pytest.mark.filterwarnings("ignore:Glyph")
def test_nothing_is_clipped(odd, width):
    with mpl.rc_context(styled()):
        for draw in OF_A_PAPER:
            found = draw(odd, width)
            for item in found if isinstance(found, tuple) else (found,):
                if item is not None:
                    assert item.figure.get_size_inches()[1] * 25.4 <= 240, item.name
                    assert "nan" not in item.alternative
                    check_inside(item, item.figure.canvas.get_renderer())


def test_texts_and_tables_hold_no_missing_number(odd, tmp_path):
    for table in paper_tables(odd):
        assert table.rows
        for row in table.rows:
            assert not any("nan" in cell.split() for cell in row), (table.name, row)
    for text in (methods_document(odd)[0], results_document(odd)):
        assert " nan" not in text
        assert "– (" not in text
    with Workers(1) as workers:
        list(begin_paper(odd, tmp_path, workers, Steps()))
    assert (tmp_path / "tables" / "tables.docx").stat().st_size > 10_000


def test_nothing_analysed_makes_a_kit_that_says_so(build_results, fail_trial, tmp_path):
    results = build_results(
        participants=("P01",), conditions=("indoor",), procedures=("vqf",), n=8, minutes=0.2
    )
    results = fail_trial(results, 0, "no column")
    with mpl.rc_context(styled()):
        assert not any(draw(results) for draw in OF_A_PAPER[1:2])
    with Workers(1) as workers:
        list(begin_paper(results, tmp_path, workers, Steps()))
    assert "0 could be analysed" in (tmp_path / "methods.md").read_text(encoding="utf-8")
