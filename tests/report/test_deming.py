from dataclasses import replace

import pytest

from twinangle.analysis.topics import pool_topics
from twinangle.report.content import report_content, supplement_content


def sections_of(results):
    """The sections of report and supplement."""
    return [
        section
        for content in (report_content, supplement_content)
        for section in content(results, {})["sections"]
    ]


def section(results, title):
    found = [s for s in sections_of(results) if s["title"] == title]
    return found[0]["blocks"] if found else []


def table_with(blocks, *columns):
    return next(b for b in blocks if b["kind"] == "table" and all(c in b["head"] for c in columns))


def words(blocks):
    return " ".join(
        item
        for block in blocks
        for item in (block.get("items") or [block.get("body", block.get("caption", ""))])
    )


def plain(cell):
    return cell.replace("\u00a0", " ").replace("−", "-")


@pytest.fixture(scope="module")
def limits(larger):
    return section(larger, "Limits of agreement in full")


def test_without_a_stated_ratio_demings_line_says_what_it_needs(limits):
    assert "that both err: it needs error_ratio under [agreement]" in words(limits)
    assert not any("Deming's regression" in b.get("caption", "") for b in limits)


def test_demings_line_says_what_it_shows(larger):
    found = pool_topics(larger.trials, replace(larger.options, error_ratio=1.5))
    results = replace(larger, **found)
    first = found["forms"][0].value
    blocks = section(results, "Limits of agreement in full")
    table = table_with(blocks, "People", "Slope", "Intercept")
    line = first.deming
    low, high = line.slope_ci
    assert plain(table["rows"][0][4]) == f"{line.slope:.3f} ({low:.3f} to {high:.3f})"
    assert "1.5 times the reference's" in table["caption"]
    assert "that both err:" not in words(blocks)
    record = results.to_json()["forms"][0]
    assert record["deming"]["error_ratio"] == 1.5
    assert record["at_sizes"][2]["bias_deg"] == first.at_sizes[2].bias


@pytest.mark.parametrize(
    ("slope", "intercept", "expected"),
    [
        ((0.9, 1.1), (-1, 2), "neither a difference of scale nor a shift is shown"),
        ((1.1, 1.2), (-1, 2), "grow more than the reference's; a shift is not shown"),
        ((0.8, 0.9), (1, 2), "grow less than the reference's and a wearable that reads above"),
        ((0.9, 1.1), (-2, -1), "reads below the reference where that is 0; a difference of scale"),
    ],
)
def test_demings_line_is_read_by_its_intervals(larger, slope, intercept, expected):
    form = pool_topics(larger.trials, replace(larger.options, error_ratio=1.0))["forms"][0]
    line = replace(form.value.deming, slope_ci=slope, intercept_ci=intercept)
    forms = (replace(form, value=replace(form.value, deming=line)),)
    said = words(section(replace(larger, forms=forms), "Limits of agreement in full"))
    assert expected in said
