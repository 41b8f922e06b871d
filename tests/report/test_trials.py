import json

from twinangle.report.content import report_content, supplement_content


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


def test_every_recording_has_its_further_numbers_with_intervals(larger):
    table = table_with(section(larger, "Every recording"), "SD added")
    assert len(table["rows"]) == sum(t.agreement is not None for t in larger.trials)
    ranges = [row[table["head"].index("Range")] for row in table["rows"]]
    assert all("to" in cell for cell in ranges)


def everything(content):
    """All texts of a content as one string."""
    return json.dumps(content, ensure_ascii=False)


def test_a_failed_procedure_is_named_beside_the_others(study, fail_trial):
    content = everything(supplement_content(fail_trial(study, 0, "axis not found"), {}))
    assert "kalman failed: axis not found" in content
