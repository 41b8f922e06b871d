import pytest

from twinangle.report.content import report_content
from twinangle.report.exclusions import reason_kind


def test_reasons_are_counted_by_kind(study):
    sections = {s["title"]: s["blocks"] for s in report_content(study, {})["sections"]}
    blocks = sections["Exclusions, failures and warnings"]
    table = next(b for b in blocks if b["kind"] == "table" and b["head"][0] == "Reason")
    dropped = sum(int((~trial.cycles.kept).sum()) for trial in study.trials)
    assert sum(int(cell) for row in table["rows"] for cell in row[1:]) == dropped


@pytest.mark.parametrize(
    ("reason", "kind"),
    [
        ("turning: 41° about the vertical", "turning"),
        ("odd duration (1.62 s)", "odd duration"),
        ("stopping", "stopping"),
        (": odd", ": odd"),
    ],
)
def test_reason_kind_leaves_out_the_single_cycle(reason, kind):
    assert reason_kind(reason) == kind
