import csv

from twinangle.report.content import report_content, supplement_content
from twinangle.report.methods import methods_text
from twinangle.results.tables import write_tables


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


def test_summary_and_methods_tell_the_median_absolute_deviation(larger):
    table = table_with(section(larger, "Participants at a glance"), "MAD demeaned")
    column = table["head"].index("MAD demeaned")
    shown = {(row[0], row[1]): plain(row[column]) for row in table["rows"]}
    for item in larger.curves:
        curves, (low, high) = item.value, item.value.mad_demeaned_ci
        assert low < curves.mad_demeaned < high
        expected = f"{curves.mad_demeaned:.2f} ({low:.2f} to {high:.2f})"
        assert shown[item.condition, item.procedure] == expected
    assert "MAD: median over the cycle" in table["caption"]
    said = methods_text(larger)
    assert "(Hampel 1974)" in said
    assert "Hampel FR (1974)" in said.partition("References")[2]


def test_json_and_tables_hold_the_median_absolute_deviation(larger, tmp_path):
    write_tables(larger, tmp_path)
    with (tmp_path / "curves_over_participants.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    record = larger.to_json()
    for row, pooled, item in zip(rows, record["curves"], larger.curves, strict=True):
        assert float(row["mad_demeaned_deg"]) == pooled["mad_demeaned_deg"]
        assert pooled["mad_demeaned_deg"] == item.value.mad_demeaned
        ends = [float(row[f"mad_demeaned_ci_{end}_deg"]) for end in ("low", "high")]
        assert tuple(ends) == tuple(pooled["mad_demeaned_ci_deg"]) == item.value.mad_demeaned_ci
    own = [trial.agreement.mad_demeaned for trial in larger.trials if trial.agreement is not None]
    written = [trial["agreement"] for trial in record["trials"]]
    assert [one["mad_demeaned_deg"] for one in written if one is not None] == own
    with (tmp_path / "trial_numbers.csv").open(encoding="utf-8", newline="") as file:
        found = [
            float(row["value"])
            for row in csv.DictReader(file)
            if row["quantity"] == "agreement.mad_demeaned_deg" and row["value"]
        ]
    assert found == own
