import csv
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.analysis.pooling import pool_equivalence, pool_limits
from twinangle.closing import print_closing
from twinangle.report.content import report_content
from twinangle.report.figures_depth import PARTS, draw_depth
from twinangle.report.methods_text import methods_paragraphs
from twinangle.report.style import styled
from twinangle.report.tables import write_tables


@pytest.fixture(scope="module")
def drawn(larger):
    with mpl.rc_context(styled()):
        return {figure.name: figure for figure in draw_depth(larger)}


@pytest.fixture(scope="module")
def blocks(larger):
    """Every table of the report by its first words of the head."""
    sections = report_content(larger, {})["sections"]
    return {section["title"]: section["blocks"] for section in sections}


def tables(blocks, title):
    return [block for block in blocks[title] if block["kind"] == "table"]


def test_figures_are_drawn_where_there_are_numbers(drawn, larger, study):
    assert set(drawn) == {
        "along-cycle_indoor", "error_budget", "contest_indoor", "magnetic_field"
    }  # fmt: skip
    assert study.along_cycle == ()  # two participants are too few
    with mpl.rc_context(styled()):
        assert "along-cycle_indoor" not in {figure.name for figure in draw_depth(study)}


def test_budget_bars_add_up_to_the_whole(drawn, larger):
    axes = drawn["error_budget"].figure.axes[0]
    ends = [patch.get_x() + patch.get_width() for patch in axes.patches]
    totals = [budget.total for *_, budget in larger.budgets]
    n = len(larger.budgets)
    assert len(ends) == n * len(PARTS)
    assert_allclose(ends[-n:], totals, rtol=1e-9)


def test_along_the_cycle_shows_bias_and_limits(drawn, larger):
    procedure, _, limits, _ = larger.along_cycle[0]
    axes = drawn["along-cycle_indoor"].figure.axes[0]
    assert procedure in axes.get_title(loc="left")
    lines = [line.get_ydata() for line in axes.get_lines() if len(line.get_ydata()) == 101]
    for curve in (limits.bias, limits.lower, limits.upper):
        assert any(np.array_equal(curve, line) for line in lines)


def test_contest_shows_every_interval(drawn, larger):
    contest = larger.contests[0][1]
    _, paired = drawn["contest_indoor"].figure.axes
    ends = [line.get_xdata() for line in paired.get_lines() if len(line.get_xdata()) == 2]
    assert contest.differences
    for pair in contest.differences:
        assert any(np.array_equal(line, [pair.lower, pair.upper]) for line in ends)


def test_field_is_drawn_in_percent(drawn, larger):
    axes = drawn["magnetic_field"].figure.axes[0]
    first = axes.get_lines()[0].get_ydata()
    assert_allclose(first, 100 * larger.trials[0].sensors[0].norm_deviation)


def test_ranks_and_ties_are_the_contests(blocks, larger):
    standings, pairs = tables(blocks, "Procedures compared")
    contest = larger.contests[0][1]
    assert [row[1] for row in standings["rows"]] == [p.procedure for p in contest.standings]
    assert [row[0] for row in standings["rows"]] == [str(p.rank) for p in contest.standings]
    verdicts = ["tie" if pair.tied else "apart" for pair in contest.differences]
    assert [row[-1] for row in pairs["rows"]] == verdicts


def test_budget_table_has_every_part_with_its_interval(blocks, larger):
    (table,) = tables(blocks, "Error budget")
    assert len(table["rows"]) == len(larger.budgets) * (len(PARTS) + 1)
    wholes = [row for row in table["rows"] if row[2] == "Whole"]
    for row, (*_, budget) in zip(wholes, larger.budgets, strict=True):
        low, high = budget.total_ci
        assert row[3].replace("\u00a0", " ") == f"{budget.total:.3f} ({low:.3f} to {high:.3f})"


def test_one_verdict_in_summary_section_table_file_and_terminal(larger, tmp_path, capsys):
    # The limits' table and the test against the margin once disagreed in one report.
    margins = {"inside": 0.0, "undecided": 0.0, "outside": 0.0}
    for margin in (0.5, 3.0, 4.0, 6.0, 20.0):
        results = at_margin(larger, margin)
        expected = [claim.verdict for *_, claim in results.equivalence]
        for word in expected:
            margins[word] += 1
        sections = {s["title"]: s["blocks"] for s in report_content(results, {})["sections"]}
        for title in ("Summary", "Limits of agreement"):
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
        shown = [
            claim.summary("°") for *_, quantity, claim in results.equivalence
            if quantity == "mean_deg"
        ]  # fmt: skip
        assert all(sentence in told for sentence in shown)
        assert told.count("Against the margin") == len(shown)
    assert min(margins.values()) > 0  # every verdict was met


def at_margin(results, margin):
    options = replace(results.options, margin_deg=margin)
    return replace(results, options=options, equivalence=pool_equivalence(results.limits, options))


def test_without_a_margin_there_is_no_verdict(larger, capsys, tmp_path):
    results = at_margin(larger, None)
    text = str(report_content(results, {})["sections"])
    assert "No margin was stated" in text
    assert "What the verdict rests on" not in text
    assert "Margin ±" not in text
    print_closing(results, tmp_path)
    assert "Against the margin" not in capsys.readouterr().out


def test_a_published_interval_is_shown_named_and_tabled_where_it_is_asked_for(larger, tmp_path):
    options = replace(larger.options, published_interval=True)
    asked = replace(larger, options=options, limits=pool_limits(larger.trials, options))
    sections = {s["title"]: s["blocks"] for s in report_content(asked, {})["sections"]}
    shown = [block for block in sections["Limits of agreement"] if block["kind"] == "table"]
    (table,) = (block for block in shown if "Zou 2013" in block["caption"])
    assert len(table["rows"]) == len(asked.limits)
    write_tables(asked, tmp_path)
    with (tmp_path / "limits_of_agreement.csv").open(encoding="utf-8") as file:
        row = next(csv.DictReader(file))
    assert float(row["published_form.lower_deg"]) == asked.limits[0].published.lower
    text = " ".join(methods_paragraphs(asked))
    assert "software's own method, which no paper describes" in text
    assert "MOVER; Zou 2013" in text
    assert "MOVER" not in " ".join(methods_paragraphs(larger))


def test_limits_without_the_references_error_are_given(blocks, larger):
    table = next(t for t in tables(blocks, "Limits of agreement") if "SD left" in t["head"])
    assert len(table["rows"]) == len(larger.limits)
    assert table["rows"][0][3] == "0.20"


def test_recordings_have_clock_sensor_and_field_tables(blocks):
    heads = [set(table["head"]) for table in tables(blocks, "Recordings, clocks and sensors")]
    for column in ("CV (%)", "Evidence", "Axis spread (°)", "Gyr. bias (°/s)", "Disturbed (%)"):
        assert any(column in head for head in heads), column
    assert not any("Heading SE (°)" in head for head in heads)  # empty in every row


def test_tables_beside_the_report(larger, tmp_path):
    write_tables(larger, tmp_path)

    def rows(name):
        with (tmp_path / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    assert len(rows("along_cycle")) == 101 * len(larger.along_cycle)
    budget = rows("error_budgets")[0]
    parts = sum(float(budget[part]) for part in PARTS)
    assert_allclose(parts, float(budget["total"]))
    assert [row["procedure"] for row in rows("contest")] == [
        place.procedure for place in larger.contests[0][1].standings
    ]
    assert float(rows("contest_differences")[0]["difference"]) == pytest.approx(
        larger.contests[0][1].differences[0].difference, rel=0
    )
    assert len(rows("sensors")) == 2 * len(larger.trials)
