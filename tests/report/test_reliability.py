import json
from dataclasses import replace

from twinangle.analysis.topics import pool_topics
from twinangle.report.content import report_content, supplement_content
from twinangle.report.methods import methods_text
from twinangle.report.paper.tables import paper_tables
from twinangle.report.paper.texts import results_document
from twinangle.results import named
from twinangle.results.answer_words import answer_sentences
from twinangle.results.serialise import to_text
from twinangle.wording import degrees


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


def test_reliability_names_its_forms_and_says_why_sessions_are_absent(larger):
    blocks = section(larger, "Reliability")
    icc = table_with(blocks, "ICC(2,1)", "Lin's concordance")
    assert len(icc["rows"]) == 6  # two procedures, three quantities
    assert "two-way random effects, absolute agreement, single measurement" in words(blocks)
    assert "not agreement" in words(blocks)
    assert "Reliability over sessions is not given" in words(blocks)
    # A change is detected by one instrument measured again, which nobody was here.
    assert not any("Detectable change" in b["head"] for b in blocks if b["kind"] == "table")
    assert "Detectable change between the instruments is not given" in words(blocks)


def test_a_detectable_change_is_given_from_test_and_retest(larger):
    again = tuple(replace(trial, session="2") for trial in larger.trials)
    trials = larger.trials + again
    results = replace(larger, trials=trials, **pool_topics(trials, larger.options))
    change = table_with(section(results, "Reliability"), "Detectable change")
    assert {row[3] for row in change["rows"]} == {"wearable", "reference"}
    assert all("to" in row[-1] for row in change["rows"])
    assert "Change with shift" in change["head"]
    assert "95 % confidence" in change["caption"]
    assert "Weir JP (2005)" in methods_text(results)


def sessions(results, quantity="peak_flexion_deg", procedure="kalman"):
    """Test and retest of the wearable as the results have it."""
    return next(
        found
        for key, found in named(results.reliability)
        if key == (procedure, "indoor", quantity)
        and (found.design, found.instrument) == ("sessions", "wearable")
    )


def test_the_answer_tells_how_the_wearable_repeats_and_over_whom(over_days, larger):
    found = sessions(over_days)
    said = answer_sentences(over_days)[-1]
    assert said.startswith("Over 3 sessions of 3 participants under “indoor”")
    for value in (found.error.sem, found.error.mdc):
        assert degrees(value) in said
    assert "ICC(2,1) (two-way, agreement)" in said
    assert not any("sessions" in sentence for sentence in answer_sentences(larger))


def test_the_report_shows_the_main_procedure_and_only_where_somebody_came_twice(over_days, larger):
    figures = {"sessions_indoor": ("Test and retest.", "3 participants in 3 sessions.")}
    blocks = next(
        part["blocks"]
        for part in report_content(over_days, figures)["sections"]
        if part["title"] == "Test and retest"
    )
    assert [block["kind"] for block in blocks] == ["text", "figure", "table", "list"]
    assert len(blocks[2]["rows"]) == 6  # three quantities of both instruments
    error = sessions(over_days, "mean_deg").error
    assert blocks[2]["rows"][0][5].startswith(f"{error.sem:.2f}")
    assert "P04" in blocks[3]["items"][0]
    titles = [part["title"] for part in report_content(larger, {})["sections"]]
    assert "Test and retest" not in titles


def test_who_lacks_a_session_is_told(over_days):
    # Three people in three sessions tell more, (3 - 1)(3 - 1), than four in two, (4 - 1)(2 - 1).
    found = sessions(over_days)
    assert found.people == ("P01", "P02", "P03")
    assert found.columns == ("1", "2", "3")
    assert "participants without a value in each column: P04" in found.left_out
    told = words(section(over_days, "Reliability"))
    assert "Left out of the reliability over sessions: participants" in told


def test_tables_and_texts_have_the_numbers_of_the_results(over_days):
    error = sessions(over_days).error
    paper = next(one for one in paper_tables(over_days) if one.name == "sessions")
    assert {row[3] for row in paper.rows} == {"wearable", "reference"}
    assert any("3 / 3" in row for row in paper.rows)
    assert "## Test and retest" in results_document(over_days)
    assert "Graybill" in methods_text(over_days)
    rows = over_days.frames["reliability"].set_index(["design", "instrument", "procedure"])
    own = rows.loc[("sessions", "wearable", "kalman")]
    own = own[own["quantity"] == "peak_flexion_deg"]
    for name in ("sem", "sem_agreement", "mdc", "mdc_agreement", "shift"):
        row = own[own["statistic"] == name].iloc[0]
        assert row["value"] == getattr(error, name)
        assert (row["low"], row["high"]) == getattr(error, f"{name}_ci")


def test_scores_and_intervals_are_in_the_file(over_days):
    record = json.loads(to_text(over_days))
    own = next(one for one in record["reliability"] if one.get("design") == "sessions")
    assert len(own["scores_deg"]) == len(own["people"]) == 3
    low, high = own["error"]["sem_agreement_ci_deg"]
    assert low <= own["error"]["sem_agreement_deg"] <= high
