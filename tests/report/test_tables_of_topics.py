import csv

import pytest
from numpy.testing import assert_allclose

from twinangle.plotting.budget import PARTS
from twinangle.results.tables import write_tables


def test_tables_beside_the_report(larger, tmp_path):
    write_tables(larger, tmp_path)

    def rows(name):
        with (tmp_path / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    assert len(rows("along_cycle")) == 101 * len(larger.along_cycle)
    first = larger.budget[0]
    budget = {
        row["part"]: float(row["value_deg2"]) for row in rows("error_budgets")
        if (row["procedure"], row["condition"]) == (first.procedure, first.condition)
    }  # fmt: skip
    assert_allclose(sum(budget[part] for part in PARTS), budget["total"])
    assert budget["total"] == first.value.total
    assert [row["procedure"] for row in rows("contest")] == [
        place.procedure for place in larger.ranking[0].value.standings
    ]
    assert float(rows("contest_differences")[0]["difference_deg"]) == pytest.approx(
        larger.ranking[0].value.differences[0].difference, rel=0
    )
    gains = [row for row in rows("sensor_numbers") if row["quantity"] == "device.rate_hz"]
    assert len(gains) == 2 * len(larger.trials)


def test_json_and_tables_carry_the_further_parts(written, larger):
    record = larger.to_json()
    for key in ("curves", "forms", "reliability"):
        assert record[key], key
    names = ("curves_over_participants", "limits_in_other_forms", "reliability", "not_given")
    for name in (*names, "conditions_adjusted"):
        assert (written / "tables" / f"{name}.csv").stat().st_size > 20
