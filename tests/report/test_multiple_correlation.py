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


def test_undefined_multiple_correlations_are_counted(larger):
    table = table_with(section(larger, "Reliability"), "Undefined")
    undefined = {row[2]: row[5] for row in table["rows"]}
    assert undefined["wearable and reference, within each cycle"] == "4"
    assert undefined["wearable, between cycles"] == ""
