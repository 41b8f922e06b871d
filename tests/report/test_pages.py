"""The pages as typeset: how many, no heading alone, no table twice, no number of their own."""

from __future__ import annotations

import itertools
import json
import math
import re

import pytest
import typst

from twinangle.parallel import Workers
from twinangle.plotting.fonts import font_folder
from twinangle.report.content import report_content, supplement_content
from twinangle.report.document import TEMPLATE
from twinangle.report.figures import write_figures
from twinangle.results import named

PAGES = 8
ORDER = (
    "query(selector(heading).or(<content-block>))"
    ".map(h => (h.func() == heading, h.location().page()))"
)
# What texts state themselves: levels, SDs to a limit, thresholds of the method.
STATED = {1.96, 0.999, 0.05, 0.5}


@pytest.fixture(scope="module")
def typeset_study(build_results, tmp_path_factory):
    """A study of the demo's size, its figures drawn, and the contents of its pages."""
    results = build_results(n=12, minutes=0.1)
    folder = tmp_path_factory.mktemp("pages")
    (folder / "figures").mkdir()
    with Workers(1) as workers:
        figures = write_figures(results, folder / "figures", workers, drawn=[])
    contents = (report_content(results, figures), supplement_content(results, figures))
    return results, folder, contents


def compiled(content, folder):
    data = json.dumps(content, ensure_ascii=False)
    return typst.Compiler(
        TEMPLATE.read_bytes(), root=str(folder), font_paths=[str(font_folder())],
        sys_inputs={"content": data},
    )  # fmt: skip


def order_of(content, folder):
    """Whether each thing is a heading, and its page, in the order of the pages."""
    return json.loads(compiled(content, folder).eval(ORDER))


def test_the_report_keeps_to_its_pages_and_no_heading_stands_alone(typeset_study):
    _, folder, (report, _) = typeset_study
    found = order_of(report, folder)
    assert found[-1][1] <= PAGES
    alone = [
        page
        for (heading, page), (_, following) in itertools.pairwise(found)
        if heading and following != page
    ]
    assert alone == []
    assert not found[-1][0]


def test_no_heading_of_the_supplement_stands_alone(typeset_study):
    _, folder, (_, supplement) = typeset_study
    found = order_of(supplement, folder)
    pairs = itertools.pairwise(found)
    assert [page for (is_it, page), (_, other) in pairs if is_it and other != page] == []


def blocks_of(content):
    yield from content["first"]
    for section in content["sections"]:
        yield from section["blocks"]


def test_no_table_and_no_figure_stands_twice(typeset_study):
    _, _, contents = typeset_study
    tables = [json.dumps(b["rows"]) for c in contents for b in blocks_of(c) if b["kind"] == "table"]
    assert len(set(tables)) == len(tables)
    figures = [
        each["path"]
        for c in contents
        for b in blocks_of(c)
        for each in (b.get("blocks") or [b])
        if each["kind"] == "figure"
    ]
    assert len(set(figures)) == len(figures)
    assert figures


def test_every_figure_of_the_folder_stands_somewhere(typeset_study):
    _, folder, contents = typeset_study
    shown = json.dumps(contents)
    for path in (folder / "figures").glob("*.svg"):
        assert f"/figures/{path.name}" in shown, path.name


def test_nothing_is_printed_that_says_nothing(typeset_study):
    _, _, contents = typeset_study
    cells = [
        cell.replace("\u00a0", " ")
        for content in contents
        for block in blocks_of(content)
        if block["kind"] == "table"
        for row in block["rows"]
        for cell in row
    ]
    assert "1.0000 (1.0000 to 1.0000)" not in cells
    assert not [cell for cell in cells if cell.startswith("– (")]
    assert "None." not in json.dumps(contents)


def test_captions_name_no_column_that_is_not_there(typeset_study):
    _, _, (_, supplement) = typeset_study
    for block in blocks_of(supplement):
        if block["kind"] == "table" and "offset zeroed:" in block["caption"]:
            assert "Offset zeroed" in block["head"]
    page = next(
        b for b in blocks_of(supplement)
        if b["kind"] == "table" and b["head"] == ["Procedure", "Cycles", "SD wearable"]
    )  # fmt: skip
    for absent in ("offset", "RMS", "clock", "ratio"):
        assert absent not in page["caption"]


def single_numbers(value):
    """Every number of the results but those of curves and of single trials."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key != "trials":
                yield from single_numbers(inner)
    elif isinstance(value, list) and (len(value) <= 3 or isinstance(value[0], dict)):
        for inner in value:
            yield from single_numbers(inner)
    elif isinstance(value, float | int) and not isinstance(value, bool):
        yield float(value)


def test_what_a_figure_of_curves_says_is_what_the_curves_are(typeset_study):
    results, _, (report, _) = typeset_study
    (said,) = re.findall(r"Mean over the cycle [^\"]*", json.dumps(report, ensure_ascii=False))
    ((_, curves),) = [(k, c) for k, c in named(results.curves) if k[0] == "kalman"]
    for curve in (curves.test_mean, curves.reference_mean):
        assert f"{curve.min():.1f} to {curve.max():.1f}°" in said


def test_every_number_of_the_report_is_one_of_the_results(typeset_study):
    results, _, (report, _) = typeset_study
    record = results.to_json()
    known = {abs(value) for value in single_numbers(record)} | STATED
    known |= {math.sqrt(value) for value in known} | {math.ceil(100 * v) / 100 for v in known}
    trials = {
        abs(value)
        for t in record["trials"]
        for value in (*t["variability"].values(), *(t["agreement"] or {}).values())
        if isinstance(value, float)
    }
    texts = json.dumps({**report, "subtitle": ""}, ensure_ascii=False)
    texts = re.sub(r'"alternative": "[^"]*"', "", texts)  # these have a test of their own
    printed = re.findall(r"(?<![\w.])\d+\.\d+(?![\w.])", re.sub(r"/figures/\S+", "", texts))
    assert len(printed) > 50
    stray = [
        token
        for token in dict.fromkeys(printed)
        if not any(
            abs(value - float(token)) <= 0.5000001 * 10 ** -len(token.partition(".")[2])
            for value in known | trials
        )
    ]
    assert stray == []
