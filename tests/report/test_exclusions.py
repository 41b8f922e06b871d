import pytest

from twinangle.report.content import LEFT_OUT, report_content, supplement_content
from twinangle.results.grouping import reason_kind


def sections_of(results):
    """The sections of report and supplement."""
    return [
        section
        for content in (report_content, supplement_content)
        for section in content(results, {})["sections"]
    ]


def test_reasons_are_counted_by_kind(study):
    sections = {s["title"]: s["blocks"] for s in sections_of(study)}
    blocks = sections[LEFT_OUT]
    table = next(b for b in blocks if b["kind"] == "table" and b["head"][0] == "Reason")
    dropped = sum(int((~trial.cycles.kept).sum()) for trial in study.trials)
    assert sum(int(cell) for row in table["rows"] for cell in row[1:]) == dropped


@pytest.mark.parametrize(
    ("reason", "kind"),
    [
        ("turning: 41° about the vertical", "turning"),
        ("duration outlier (1.62 s)", "duration outlier"),
        ("stopping", "stopping"),
        (": odd", ": odd"),
    ],
)
def test_reason_kind_leaves_out_the_single_cycle(reason, kind):
    assert reason_kind(reason) == kind
