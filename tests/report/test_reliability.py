from dataclasses import replace

from twinangle.analysis.topics import pool_topics
from twinangle.report.content import report_content, supplement_content
from twinangle.report.methods import methods_text


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
    assert "95 % confidence" in change["caption"]
    assert "Weir JP (2005)" in methods_text(results)
