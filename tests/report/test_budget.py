import pytest

from twinangle.plotting.budget import PARTS
from twinangle.report.content import report_content


@pytest.fixture(scope="module")
def blocks(larger):
    """Every table of the report by its first words of the head."""
    sections = report_content(larger, {})["sections"]
    return {section["title"]: section["blocks"] for section in sections}


def tables(blocks, title):
    return [block for block in blocks[title] if block["kind"] == "table"]


def test_budget_table_has_every_part_with_its_interval(blocks, larger):
    (table,) = tables(blocks, "Error budget")
    assert len(table["rows"]) == len(larger.budget) * (len(PARTS) + 1)
    wholes = [row for row in table["rows"] if row[2] == "Whole"]
    for row, budget in zip(wholes, [item.value for item in larger.budget], strict=True):
        low, high = budget.total_ci
        assert row[3].replace("\u00a0", " ") == f"{budget.total:.3f} ({low:.3f} to {high:.3f})"
