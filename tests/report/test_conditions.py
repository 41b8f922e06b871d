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


def test_two_people_are_too_few_to_hold_covariates_equal_and_it_says_so(study):
    said = words(section(study, "Conditions in full"))
    assert "stride_time_s" in said
    assert "at least 3 participants" in said


def test_conditions_at_equal_speed(build_results):
    built = build_results(participants=("P01", "P02", "P03", "P04"), procedures=("kalman",), n=12)
    speeds = (1.2, 1.4, 1.1, 1.0, 1.5, 1.3, 1.2, 1.6)
    trials = tuple(
        replace(trial, covariates={"speed_m_s": speed})
        for trial, speed in zip(built.trials, speeds, strict=True)
    )
    results = replace(built, trials=trials, **pool_topics(trials, built.options))
    table = table_with(section(results, "Conditions in full"), "Held equal")
    assert [row[2] for row in table["rows"]] == ["walking speed"]
    assert "mixed models" in methods_text(results)
    assert "ICC(2,1)" in methods_text(results)
    assert "detectable" not in methods_text(results)
