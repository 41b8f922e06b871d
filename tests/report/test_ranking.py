import pytest

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


def test_ranks_and_ties_are_the_contests(blocks, larger):
    (pairs,) = tables(blocks, "Procedures compared")
    contest = larger.ranking[0].value
    for place in contest.standings:
        told = f"{place.procedure} {place.mean:.2f}° (rank {place.rank})"
        assert told in pairs["caption"]
    verdicts = ["tie" if pair.tied else "apart" for pair in contest.differences]
    assert [row[-1] for row in pairs["rows"]] == verdicts
