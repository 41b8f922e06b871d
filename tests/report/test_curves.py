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


def plain(cell):
    return cell.replace("\u00a0", " ").replace("−", "-")


def test_summary_gives_mean_curves_over_participants_with_intervals(larger):
    table = table_with(
        section(larger, "Participants at a glance"), "RMS demeaned", "Range difference"
    )
    curves = larger.curves[0].value
    low, high = curves.rms_demeaned_ci
    assert plain(table["rows"][0][4]) == f"{curves.rms_demeaned:.2f} ({low:.2f} to {high:.2f})"
