from dataclasses import replace
from types import SimpleNamespace

from twinangle.analysis import equivalence
from twinangle.analysis.groups import group_trials
from twinangle.report.content import report_content, supplement_content
from twinangle.report.limits import ROWS_OF_ALL
from twinangle.report.provenance import flat_parameters, settings_section


def test_parameters_are_flattened_in_order():
    found = flat_parameters({"a": {"b": None, "c": True}, "d": ("x", "y"), "e": 0.5, "f": []})
    assert found == [("a.b", "not set"), ("a.c", "yes"), ("d", "x, y"), ("e", "0.5"), ("f", "none")]


def test_every_setting_that_numbers_rest_on_stands_in_the_report_by_section():
    parameters = {
        "agreement": {"confidence": 0.95, "error_ratio": None},
        "wearable": {"kind": "inertial", "units": {"gyroscope": "rad/s"}},
        "report": {"dpi": 300},
    }
    results = SimpleNamespace(parameters=parameters, limits=())
    (table,) = settings_section(results)
    assert table["rows"] == [
        ["agreement", "`confidence` 0.95; not set: `error_ratio`"],
        ["wearable", "`kind` inertial"],
        ["wearable.units", "`gyroscope` rad/s"],
    ]


def test_the_supplement_is_the_same_whatever_the_margin(build_results):
    conditions, procedures = ("indoor",), ("a", "b", "c", "d", "e")
    results = build_results(
        participants=("P01", "P02", "P03"), conditions=conditions, procedures=procedures, n=6
    )
    assert len(results.limits) > ROWS_OF_ALL  # so that other procedures' limits stand there
    options = replace(results.options, margin_deg=90.0)
    other = replace(
        results,
        options=options,
        equivalence=equivalence.pool(group_trials(results.trials), options),
    )
    assert supplement_content(other, {}) == supplement_content(results, {})
    assert report_content(other, {}) != report_content(results, {})
