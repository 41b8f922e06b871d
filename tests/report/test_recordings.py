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


def test_recordings_have_clock_sensor_and_field_tables(blocks):
    heads = [set(table["head"]) for table in tables(blocks, "Recordings, clocks and sensors")]
    for column in ("CV (%)", "Evidence", "Axis spread (°)", "Gyr. bias (°/s)", "Disturbed (%)"):
        assert any(column in head for head in heads), column
    assert not any("Heading SE (°)" in head for head in heads)  # empty in every row
