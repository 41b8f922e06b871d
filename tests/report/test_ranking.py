import pytest

from twinangle.report.content import report_content


@pytest.fixture(scope="module")
def blocks(larger):
    """Every table of the report by its first words of the head."""
    sections = report_content(larger, {})["sections"]
    return {section["title"]: section["blocks"] for section in sections}


def tables(blocks, title):
    return [block for block in blocks[title] if block["kind"] == "table"]


def test_ranks_and_ties_are_the_contests(blocks, larger):
    standings, pairs = tables(blocks, "Procedures compared")
    contest = larger.ranking[0].value
    assert [row[1] for row in standings["rows"]] == [p.procedure for p in contest.standings]
    assert [row[0] for row in standings["rows"]] == [str(p.rank) for p in contest.standings]
    verdicts = ["tie" if pair.tied else "apart" for pair in contest.differences]
    assert [row[-1] for row in pairs["rows"]] == verdicts
