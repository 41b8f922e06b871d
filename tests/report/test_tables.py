import csv

import numpy as np
from numpy.testing import assert_allclose

from twinangle.report.tables import write_csv, write_tables


def rows(folder, name):
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_trials_hold_the_numbers_of_the_json_in_full(written, study):
    found = rows(written, "trials")
    record = study.to_json()["trials"]
    assert len(found) == len(record)
    for row, trial in zip(found, record, strict=True):
        assert row["participant"] == trial["participant"]
        if trial["agreement"] is None:
            assert row["agreement.offset_deg"] == ""
        else:
            assert float(row["agreement.offset_deg"]) == trial["agreement"]["offset_deg"]
        assert float(row["variability.wearable_sd_deg"]) == trial["variability"]["wearable_sd_deg"]
        assert int(row["cycles.kept"]) == trial["cycles"]["kept"]


def test_limits_have_their_intervals(written, study):
    found = rows(written, "limits_of_agreement")
    assert [row["quantity"] for row in found] == [pooled.quantity for pooled in study.limits]
    for row, pooled in zip(found, study.limits, strict=True):
        assert float(row["bias_deg"]) == pooled.value.limits.bias
        ends = [float(row[f"upper_ci_deg.{end}"] or "nan") for end in ("low", "high")]
        assert_allclose(ends, pooled.value.limits.upper_ci)


def test_points_reproduce_the_bias(written, study):
    found = [
        row
        for row in rows(written, "limits_points")
        if (row["procedure"], row["quantity"]) == ("kalman", "mean_deg")
    ]
    by_person = [
        np.mean([float(row["difference_deg"]) for row in found if row["participant"] == code])
        for code in ("P01", "P02")
    ]
    assert_allclose(np.mean(by_person), study.limits[0].value.limits.bias)


def test_every_dropped_cycle_is_listed(written, study):
    found = [row for row in rows(written, "exclusions") if row["what"] == "cycle"]
    assert len(found) == sum(int((~trial.cycles.kept).sum()) for trial in study.trials)
    assert all(row["reason"] for row in found)


def test_failed_and_excluded_trials_are_listed(study, fail_trial, tmp_path):
    changed = fail_trial(fail_trial(study, 0, "no overlap"), 2, "sensor fell off", "excluded")
    (tmp_path / "tables").mkdir()
    write_tables(changed, tmp_path / "tables")
    found = [row for row in rows(tmp_path, "exclusions") if row["what"] != "cycle"]
    assert [(row["what"], row["reason"]) for row in found] == [
        ("trial failed", "no overlap"),
        ("trial excluded", "sensor fell off"),
    ]


def test_mean_curves_are_given_point_by_point(written, study):
    first = rows(written, "mean_curves")[:101]
    assert [float(row["percent"]) for row in first] == list(range(101))
    assert_allclose(
        [float(row["wearable_mean_deg"]) for row in first],
        study.trials[0].wearable_variability.mean_curve,
        rtol=0,
    )


def test_inputs_are_listed_with_their_hashes(written, study):
    assert [row["sha256"] for row in rows(written, "inputs")] == [f.sha256 for f in study.inputs]


def test_text_is_kept_as_it_is(tmp_path):
    names = ['a,b;"c"', "zwei\nZeilen", "Ünal 日本", ""]
    path = write_csv(tmp_path / "t.csv", ("name",), [{"name": name} for name in names])
    with path.open(encoding="utf-8", newline="") as file:
        assert [row["name"] for row in csv.DictReader(file)] == names


def test_missing_numbers_are_empty_cells(tmp_path):
    path = write_csv(tmp_path / "t.csv", ("x", "y"), [{"x": float("nan"), "y": 0.1}, {"y": None}])
    assert path.read_text() == "x,y\n,0.1\n,\n"
