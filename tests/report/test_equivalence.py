import csv
from dataclasses import replace

import pytest

from twinangle.analysis.topics import pool_topics
from twinangle.closing import print_closing
from twinangle.report.content import report_content, supplement_content
from twinangle.results import given
from twinangle.results.tables import write_tables


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


def test_one_verdict_in_summary_section_table_file_and_terminal(larger, tmp_path, capsys):
    # The limits' table and the test against the margin once disagreed in one report.
    margins = {"inside": 0.0, "undecided": 0.0, "outside": 0.0}
    for margin in (0.5, 3.0, 4.0, 6.0, 20.0):
        results = at_margin(larger, margin)
        expected = [claim.verdict for _, claim in given(results.equivalence)]
        for word in expected:
            margins[word] += 1
        sections = {s["title"]: s["blocks"] for s in sections_of(results)}
        for title in ("Limits of agreement",):
            table = next(t for t in tables(sections, title) if t["head"][-2].startswith("Margin"))
            assert table["head"][-2] == f"Margin ±{margin}°"
            assert [row[-2] for row in table["rows"]] == expected
            for row in table["rows"]:
                assert (float(row[-1]) <= margin) == (row[-2] == "inside")
        assert [item["verdict"] for item in results.to_json()["equivalence"]] == expected
        write_tables(results, tmp_path)
        with (tmp_path / "equivalence.csv").open(encoding="utf-8", newline="") as file:
            assert [row["verdict"] for row in csv.DictReader(file)] == expected
        print_closing(results, tmp_path)
        told = " ".join(capsys.readouterr().out.split())
        assert told.count(f"against the margin of ±{margin}° {expected[0]}") == 1
    assert min(margins.values()) > 0  # every verdict was met


def at_margin(results, margin):
    options = replace(results.options, margin_deg=margin)
    return replace(
        results,
        options=options,
        equivalence=pool_topics(results.trials, options)["equivalence"],
    )


def test_without_a_margin_there_is_no_verdict(larger, capsys, tmp_path):
    results = at_margin(larger, None)
    text = str(sections_of(results))
    assert "No margin was stated" in text
    assert "What the verdict rests on" not in text
    assert "Margin ±" not in text
    print_closing(results, tmp_path)
    assert "against the margin" not in capsys.readouterr().out
