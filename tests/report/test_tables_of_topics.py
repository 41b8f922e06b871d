import csv

import pytest
from numpy.testing import assert_allclose

from twinangle.plotting.budget import PARTS
from twinangle.report.tables import write_tables


def test_tables_beside_the_report(larger, tmp_path):
    write_tables(larger, tmp_path)

    def rows(name):
        with (tmp_path / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    assert len(rows("along_cycle")) == 101 * len(larger.along_cycle)
    budget = rows("error_budgets")[0]
    parts = sum(float(budget[f"{part}_deg2"]) for part in PARTS)
    assert_allclose(parts, float(budget["total_deg2"]))
    assert [row["procedure"] for row in rows("contest")] == [
        place.procedure for place in larger.ranking[0].value.standings
    ]
    assert float(rows("contest_differences")[0]["difference_deg"]) == pytest.approx(
        larger.ranking[0].value.differences[0].difference, rel=0
    )
    assert len(rows("sensors")) == 2 * len(larger.trials)


def test_json_and_tables_carry_the_further_parts(written, larger):
    record = larger.to_json()
    for key in ("curves", "forms", "reliability"):
        assert record[key], key
    names = ("curves_over_participants", "limits_in_other_forms", "reliability", "not_given")
    for name in (*names, "conditions_adjusted"):
        assert (written / "tables" / f"{name}.csv").stat().st_size > 20
