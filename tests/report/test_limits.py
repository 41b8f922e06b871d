import csv
from dataclasses import replace

import pytest

from twinangle.analysis.topics import pool_topics
from twinangle.report.blocks import with_interval
from twinangle.report.content import report_content, supplement_content
from twinangle.report.methods import methods_paragraphs
from twinangle.results.tables import write_tables
from twinangle.wording import NOTHING


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


def test_a_published_interval_is_shown_named_and_tabled_where_it_is_asked_for(larger, tmp_path):
    options = replace(larger.options, published_interval=True)
    asked = replace(larger, options=options, limits=pool_topics(larger.trials, options)["limits"])
    sections = {s["title"]: s["blocks"] for s in sections_of(asked)}
    shown = [block for block in sections["Limits of agreement in full"] if block["kind"] == "table"]
    (table,) = (block for block in shown if "Zou 2013" in block["caption"])
    assert len(table["rows"]) == len(asked.limits)
    write_tables(asked, tmp_path)
    with (tmp_path / "limits_otherwise_treated.csv").open(encoding="utf-8") as file:
        own = [row for row in csv.DictReader(file) if row["form"] == "published interval"]
    assert float(own[0]["lower_ci_low_deg"]) == asked.limits[0].value.published.lower_ci[0]
    assert len(own) == len(asked.limits)
    text = " ".join(methods_paragraphs(asked))
    assert "software's own method, which no paper describes" in text
    assert "MOVER; Zou 2013" in text
    assert "MOVER" not in " ".join(methods_paragraphs(larger))


def test_limits_without_the_references_error_are_given(blocks, larger):
    table = next(t for t in tables(blocks, "Limits of agreement in full") if "SD left" in t["head"])
    assert len(table["rows"]) == len(larger.limits)
    assert table["rows"][0][3] == "0.20"


def test_a_missing_number_has_no_interval_of_no_width():
    """`– (0.00 to 0.00)` was printed for the SD added where the wearable varies less."""
    nan = float("nan")
    assert with_interval(nan, (0.0, 0.0)) == NOTHING
    assert with_interval(nan, (nan, nan)) == NOTHING
    assert with_interval(nan, (0.0, 0.31)).replace("\u00a0", " ") == f"{NOTHING} (0.00 to 0.31)"
    assert with_interval(0.0, (0.0, 0.0)).replace("\u00a0", " ") == "0.00 (0.00 to 0.00)"


def test_every_table_with_a_bias_says_how_it_weights(larger, blocks):
    shown = tables(blocks, "Limits of agreement")
    captions = [each["caption"] for each in shown if "Bias" in each["head"]]
    assert any("The bias weights all participants equally." in each for each in captions)
    for each in shown:
        if any("mixed model" in row for row in each["rows"]):
            assert (
                "the model weights participants by how much they were measured" in each["caption"]
            )
    few = ("P01", "P02", "P03")
    three = replace(larger, trials=tuple(t for t in larger.trials if t.participant in few))
    three = replace(three, limits=pool_topics(three.trials, three.options)["limits"])
    text = " ".join(methods_paragraphs(three))
    assert "95 % intervals: Student's t for the bias, none for the limits." in text
