import pytest

from twinangle.plotting.budget import PARTS
from twinangle.report.content import report_content, supplement_content


def sections_of(results):
    """The sections of report and supplement."""
    return [
        section
        for content in (report_content, supplement_content)
        for section in content(results, {})["sections"]
    ]


@pytest.fixture(scope="module")
def blocks(larger):
    """Every table of the report by its first words of the head."""
    sections = sections_of(larger)
    return {section["title"]: section["blocks"] for section in sections}


def tables(blocks, title):
    return [block for block in blocks[title] if block["kind"] == "table"]


def test_budget_table_has_every_part_with_its_interval(blocks, larger):
    (main,) = tables(blocks, "Error budget")
    (others,) = tables(blocks, "Error budget in numbers")
    rows = [*main["rows"], *others["rows"]]
    told = sum(
        getattr(item.value, part) >= 0.005 * item.value.total
        for item in larger.budget
        for part in (*PARTS, "total")
    )
    assert len(rows) == told
    wholes = [row for row in rows if row[2] == "Whole"]
    for row, budget in zip(wholes, [item.value for item in larger.budget], strict=True):
        low, high = budget.total_ci
        assert row[3].replace("\u00a0", " ") == f"{budget.total:.3f} ({low:.3f} to {high:.3f})"
