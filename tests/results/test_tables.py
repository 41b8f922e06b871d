"""The tables hold the numbers of the results, and the dictionary describes every one of them."""

import csv
import json
import re
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Annotated

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.declare import data, number
from twinangle.results.tables import TABLES, write_tables
from twinangle.results.tables.columns import TrialTable, columns_of
from twinangle.results.tables.csv_files import PRINTABLE, csv_lines, write_csv
from twinangle.results.tables.quantities import quantities_of


@pytest.fixture(scope="module")
def written(study, tmp_path_factory):
    folder = tmp_path_factory.mktemp("tables")
    write_tables(study, folder)
    return folder


def rows(folder, name):
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_trials_hold_the_numbers_of_the_json_in_full(written, study):
    found = rows(written, "trials")
    record = study.to_json()["trials"]
    assert len(found) == len(record)
    for row, trial in zip(found, record, strict=True):
        assert row["participant"] == trial["participant"]
        if trial["agreement"] is None:
            assert row["offset_deg"] == ""
        else:
            assert float(row["offset_deg"]) == trial["agreement"]["offset_deg"]
            ends = [float(row[f"offset_ci_{end}_deg"]) for end in ("low", "high")]
            assert ends == trial["agreement"]["offset_ci_deg"]
        assert float(row["wearable_sd_deg"]) == trial["variability"]["wearable_sd_deg"]
        assert int(row["cycles_kept"]) == trial["cycles"]["kept"]


def test_limits_have_their_intervals(written, study):
    found = rows(written, "limits_of_agreement")
    assert [row["quantity"] for row in found] == [pooled.quantity for pooled in study.limits]
    for row, pooled in zip(found, (item.value for item in study.limits), strict=True):
        assert float(row["bias_deg"]) == pooled.limits.bias
        ends = [float(row[f"upper_ci_{end}_deg"] or "nan") for end in ("low", "high")]
        assert_allclose(ends, pooled.limits.upper_ci)


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


def test_lines_made_trial_by_trial_are_those_of_all_rows_at_once(written, study):
    tables = [table for table in TABLES if isinstance(table, TrialTable)]
    assert len(tables) > 5
    for table in tables:
        lines = list(csv_lines(table.columns, table.rows_in(study)))
        for k, part in enumerate(("", PRINTABLE)):
            found = (written / part / f"{table.name}.csv").read_text(encoding="utf-8")
            assert found.partition("\n")[2] == "".join(each[k] for each in lines), table.name


def test_every_dropped_cycle_is_listed(written, study):
    found = [row for row in rows(written, "exclusions") if row["what"] == "cycle"]
    assert len(found) == sum(int((~trial.cycles.kept).sum()) for trial in study.trials)
    assert all(row["reason"] for row in found)


def test_failed_and_excluded_trials_are_listed(study, fail_trial, tmp_path):
    changed = fail_trial(fail_trial(study, 0, "no overlap"), 2, "sensor fell off", "excluded")
    write_tables(changed, tmp_path)
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


def test_every_number_of_a_trial_is_in_the_long_table(written, study):
    found = rows(written, "trial_numbers")
    record = study.to_json()["trials"][0]
    names = ("participant", "session", "condition", "trial", "side", "procedure")
    first = {
        row["quantity"]: row for row in found if all(row[name] == record[name] for name in names)
    }
    expected = {}
    collect(record, "", expected)
    assert len(expected) > 50
    for name, value in expected.items():
        assert float(first[name]["value"]) == value, name
    offset = first["agreement.offset_deg"]
    assert offset["unit"] == "deg"
    assert [float(offset["low"]), float(offset["high"])] == record["agreement"]["offset_ci_deg"]
    assert first["synchronisation.method"]["text"] == "cross-correlation"


def collect(record, prefix, found):
    """Every number outside of lists, under its joined key."""
    for key, value in record.items():
        if isinstance(value, dict):
            collect(value, f"{prefix}{key}.", found)
        elif prefix and isinstance(value, int | float) and not isinstance(value, bool):
            found[f"{prefix}{key}"] = value


def test_units_of_the_long_table_follow_from_keys_and_parts():
    record = {
        "device": {"noise_deg_s": 0.1, "rate_hz": 100.0, "jitter_ms": None, "handed": True},
        "error_budget_deg2": {
            "total": 2.0,
            "total_ci": [1.0, 3.0],
            "n_cycles": 7,
            "gain_span": [0, 1],
        },
        "covariates": {"speed_m_s": 1.2, "group": "old"},
    }
    found = {one.quantity: one for one in quantities_of(record)}
    units = {name: one.unit for name, one in found.items()}
    assert units["device.noise_deg_s"] == "deg/s"
    assert units["device.rate_hz"] == "Hz"
    assert np.isnan(found["device.jitter_ms"].value)
    assert units["device.jitter_ms"] == "ms"
    assert units["error_budget_deg2.total"] == "deg2"
    assert found["error_budget_deg2.total"].ci == (1.0, 3.0)
    assert units["error_budget_deg2.n_cycles"] == ""
    assert found["error_budget_deg2.gain_span"].ci == (0.0, 1.0)
    assert "error_budget_deg2.total_ci" not in found
    assert found["covariates.group"].text == "old"
    assert found["device.handed"].text == "True"


@dataclass(frozen=True)
class Plain:
    name: Annotated[str, number("a name")]
    size: Annotated[float | None, data("a size")]
    size_ci: Annotated[tuple[float, float], data("its interval")]


COLUMNS = columns_of(Plain)


def plain(name, size=None, low=float("nan"), high=float("nan")):
    return Plain(name, size, (low, high))


def test_text_is_kept_as_it_is(tmp_path):
    (tmp_path / PRINTABLE).mkdir()
    names = ['a,b;"c"', "Ünal 日本", ""]
    for path in write_csv(tmp_path, "t", COLUMNS, csv_lines(COLUMNS, map(plain, names))):
        with path.open(encoding="utf-8", newline="") as file:
            assert [row["name"] for row in csv.DictReader(file)] == names


def test_missing_numbers_are_empty_cells_and_intervals_two_columns(tmp_path):
    (tmp_path / PRINTABLE).mkdir()
    table = [plain("a", float("nan")), plain("b", 0.123456, 0.1, 0.15), plain("c")]
    exact, printed = write_csv(tmp_path, "t", COLUMNS, csv_lines(COLUMNS, table))
    head = "name,size_deg,size_ci_low_deg,size_ci_high_deg\n"
    assert exact.read_text() == head + "a,,,\nb,0.123456,0.1,0.15\nc,,,\n"
    assert printed.read_text() == head + "a,,,\nb,0.123,0.100,0.150\nc,,,\n"


def test_a_column_without_a_meaning_is_refused():
    @dataclass(frozen=True)
    class Silent:
        size: float

    with pytest.raises(TypeError, match="`size` says no meaning"):
        columns_of(Silent)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_tables_are_narrow_and_their_columns_differ(table):
    names = [column.name for column in table.columns]
    assert len(names) == len(set(names)) <= 30


def test_the_dictionary_describes_every_column_of_every_file(written):
    package = json.loads((written / "datapackage.json").read_text(encoding="utf-8"))
    files = {path.relative_to(written).as_posix() for path in written.rglob("*") if path.is_file()}
    described = {resource["path"]: resource for resource in package["resources"]}
    assert len(described) == len(package["resources"])
    assert files - {"datapackage.json"} == described.keys()
    for path, resource in described.items():
        fields = resource["schema"]["fields"]
        assert [field["name"] for field in fields] == heads(written / path), path
        for field in fields:
            assert len(field["description"]) > 3
            assert ("unit" in field) == (field["type"] in ("number", "integer")), field
            assert field.get("unit") != ""


def heads(path):
    if path.suffix == ".parquet":
        from pyarrow import parquet

        return parquet.read_schema(path).names
    with path.open(encoding="utf-8", newline="") as file:
        return next(csv.reader(file))


def test_the_dictionary_has_the_form_of_a_data_package(written):
    # Data Package Standard 2.0: data-package, data-resource and table-schema, as published in the
    # repository frictionlessdata/datapackage (content/docs/standard).
    package = json.loads((written / "datapackage.json").read_text(encoding="utf-8"))
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    names = [resource["name"] for resource in package["resources"]]
    assert len(names) == len(set(names)) > 0
    for resource in package["resources"]:
        assert re.fullmatch(r"[a-z0-9._-]+", resource["name"])
        assert ("path" in resource) != ("data" in resource)
        assert not resource["path"].startswith(("/", "."))
        assert resource["type"] == "table"
        assert resource["bytes"] == (written / resource["path"]).stat().st_size
        assert re.fullmatch("sha256:[0-9a-f]{64}", resource["hash"])
        schema = resource["schema"]
        assert all(isinstance(value, str) for value in schema["missingValues"])
        columns = [field["name"] for field in schema["fields"]]
        assert len(columns) == len(set(columns)) > 0
        assert {f["type"] for f in schema["fields"]} <= {"string", "number", "integer", "boolean"}


def test_cells_are_of_the_type_that_the_dictionary_says(written):
    # Table Schema 2.0: integer and number as in JSON, boolean among them "True" and "False".
    package = json.loads((written / "datapackage.json").read_text(encoding="utf-8"))
    forms = {"integer": r"-?\d+", "number": r"-?\d+(\.\d+)?(e[+-]?\d+)?", "boolean": "True|False"}
    seen = 0
    for resource in package["resources"]:
        if resource["format"] != "csv":
            continue
        typed = {f["name"]: forms.get(f["type"], "(?s:.*)") for f in resource["schema"]["fields"]}
        for row in rows(written, resource["path"].removesuffix(".csv")):
            for name, cell in row.items():
                assert cell == "" or re.fullmatch(typed[name], cell), (resource["path"], name, cell)
                seen += 1
    assert seen > 10_000


@pytest.mark.skipif(find_spec("frictionless") is None, reason="a second opinion, where installed")
def test_the_standards_own_library_finds_nothing_at_fault(written):
    from frictionless import Package

    report = Package(written / "datapackage.json").validate()
    faults = [
        task.errors for task in report.tasks if task.errors and not task.place.endswith(".parquet")
    ]
    assert not faults
    assert not report.errors


def test_the_same_results_give_the_same_bytes(written, study, tmp_path):
    write_tables(study, tmp_path)
    files = sorted(path.relative_to(written) for path in written.rglob("*") if path.is_file())
    assert files == sorted(p.relative_to(tmp_path) for p in tmp_path.rglob("*") if p.is_file())
    assert all((written / name).read_bytes() == (tmp_path / name).read_bytes() for name in files)
