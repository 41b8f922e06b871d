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
    parts = sum(float(budget[part]) for part in PARTS)
    assert_allclose(parts, float(budget["total"]))
    assert [row["procedure"] for row in rows("contest")] == [
        place.procedure for place in larger.contests[0][1].standings
    ]
    assert float(rows("contest_differences")[0]["difference"]) == pytest.approx(
        larger.contests[0][1].differences[0].difference, rel=0
    )
    assert len(rows("sensors")) == 2 * len(larger.trials)


def test_json_and_tables_carry_the_further_parts(written, larger):
    record = larger.to_json()
    for key in ("curves_over_participants", "limits_in_other_forms", "reliability", "not_given"):
        assert record[key], key
    names = ("curves_over_participants", "limits_in_other_forms", "reliability", "not_given")
    for name in (*names, "conditions_adjusted"):
        assert (written / "tables" / f"{name}.csv").stat().st_size > 20
