"""Results of a run back from its files, and files of the schema before."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin

import numpy as np
import pytest

from twinangle.declare import UNDECLARED, declared
from twinangle.errors import StudyError
from twinangle.results import StudyResults, TrialResult, given
from twinangle.results.equality import difference, same_results
from twinangle.results.read_back import read_results, results_of
from twinangle.results.serialise import OF_SEVERAL, SCHEMA, study_record, to_text, topic_fields
from twinangle.results.tables import write_tables

SCHEMA_1 = Path(__file__).parent / "schema1"


@pytest.fixture
def folder(results, tmp_path) -> Path:
    (tmp_path / "results.json").write_text(to_text(results), encoding="utf-8")
    return tmp_path


def without_cycles(results: StudyResults) -> StudyResults:
    """Return results without what is kept as tables: single cycles and traces."""

    def bare(trial: TrialResult) -> TrialResult:
        variability = trial.variability
        if variability is not None:
            empty, reference = np.zeros((0, 0)), variability.reference
            variability = replace(
                variability,
                wearable=replace(variability.wearable, curves=empty),
                reference=None if reference is None else replace(reference, curves=empty),
            )
        return replace(trial, cycles=None, paired=None, variability=variability)

    return replace(results, trials=tuple(bare(trial) for trial in results.trials))


def test_the_study_reads_back_equal_but_for_cycles_and_traces(results, folder):
    assert {trial.status for trial in results.trials} == {"ok", "excluded"}
    back = read_results(folder)
    assert difference(back, without_cycles(results)) is None
    assert to_text(back) == to_text(without_cycles(results))


def test_cycles_and_traces_are_read_back_where_they_were_kept(results, tmp_path):
    (tmp_path / "results.json").write_text(to_text(results), encoding="utf-8")
    (tmp_path / "tables").mkdir()
    write_tables(results, tmp_path / "tables")
    back = read_results(tmp_path)
    assert any(trial.paired is not None for trial in back.trials)
    assert difference(back, results) is None
    assert to_text(back) == to_text(results)


def test_one_bit_is_a_difference_and_it_is_placed(results):
    first = results.trials[0]
    moved = replace(first, agreement=replace(first.agreement, offset=np.nextafter(0, 1)))
    other = replace(results, trials=(moved, *results.trials[1:]))
    assert same_results(results, results)
    assert not same_results(results, other)
    assert difference(results, other).startswith(".trials[0].agreement.offset")


def test_the_file_is_of_the_schema_it_says_and_holds_no_nan(results):
    text = to_text(results)
    record = json.loads(text, parse_constant=pytest.fail)
    assert record == study_record(results)
    assert record["schema"] == SCHEMA == 2
    assert "\n" not in text[text.index('"size_deg"') :].split("]")[0]  # a list on one line


def kinds(hint: Any, seen: dict[type, None]) -> dict[type, None]:
    """Gather every dataclass that a hint leads to."""
    for each in get_args(hint) if get_args(hint) else (hint,):
        if each is not hint and get_args(each):
            kinds(each, seen)
        elif isinstance(each, type) and hasattr(each, "__dataclass_fields__") and each not in seen:
            seen[each] = None
            for item in declared(each):
                if item.aside is None:
                    kinds(item.hint, seen)
    origin = get_origin(hint)
    if origin not in (None, Union, UnionType, NoneType) and origin not in seen:
        kinds(origin, seen)
    return seen


def test_unit_and_meaning_of_every_field_are_declared():
    seen = kinds(TrialResult, {})
    for item in topic_fields(StudyResults):
        kinds(item.hint, seen)
    assert len(seen) > 30
    bare = [
        f"{kind.__name__}.{item.name}"
        for kind in seen
        for item in declared(kind)
        if item.quantity is UNDECLARED and item.spread is None and item.aside is None
    ]
    assert bare == []


def test_a_nested_result_keeps_its_own_name():
    seen = kinds(TrialResult, {})
    for item in topic_fields(StudyResults):
        kinds(item.hint, seen)
    for kind in seen:
        for item in declared(kind):
            if item.spread is None and any(each in seen for each in kinds(item.hint, {})):
                assert item.quantity.unit == "", f"{kind.__name__}.{item.name}"


def test_a_file_of_schema_1_still_reads():
    # cut from the demo's own results before the keys had their units
    old = json.loads((SCHEMA_1 / "results.json").read_text(encoding="utf-8"))
    back = read_results(SCHEMA_1)
    assert back.confidence == 0.95
    assert back.acceptable_deg == 5.0
    trial, record = back.trials[0], old["trials"][0]
    assert trial.agreement.offset == record["agreement"]["offset_deg"]
    assert (
        trial.agreement.msd_pattern
        == (record["agreement"]["mean_squared_difference_deg2"]["pattern"])
    )
    assert trial.variability.comparison.ratio == record["variability"]["ratio"]
    kept = record["cycles"]["kept"]
    assert trial.agreement.n_cycles == trial.variability.wearable.n_cycles == kept
    assert trial.budget.total == record["error_budget_deg2"]["total"]
    assert np.isnan(trial.synchronisation.lag_statistical_s)  # not known then
    pairs = (
        (back.limits[0].value.limits.lower_ci[0], "limits_of_agreement", "lower_ci_deg"),
        (back.conditions[0].value.ratio_ci[0], "conditions", "ratio_ci"),
        (back.curves[0].value.offset_ci[0], "curves_over_participants", "offset_ci"),
        (back.variability[0].value.test_sd_ci[0], "variability_over_participants", "test_sd_ci"),
        (back.budget[0].value.timing_ci[0], "error_budgets_deg2", "timing_ci"),
        (back.along_cycle[0].value.limits.bias[0], "along_cycle", "bias_deg"),
    )
    for value, key, name in pairs:
        assert value == old[key][0][name][0]
    assert back.ranking[0].value.standings[0].mean == old["contests"][0]["standings"][0]["mean"]
    assert back.forms[0].value.checks.trend == old["limits_in_other_forms"][0]["checks"]["trend"]
    assert back.reliability[0].value.error.sem == old["reliability"][0]["measurement_error"]["sem"]
    assert not given(back.equivalence)  # judged by another rule then
    assert any("schema 1" in note for note in back.notes)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"schema": 3}, "schema: expected 1 or 2, got 3"),
        ({"extra": 1}, "has an unknown key 'extra'"),
        ({"forms": None}, "forms: expected a list"),
        ({"options": {}}, "options.confidence: is missing"),
    ],
)
def test_a_fault_is_told_with_file_and_place(results, tmp_path, change, message):
    record = study_record(results) | change
    (tmp_path / "results.json").write_text(json.dumps(record), encoding="utf-8")
    with pytest.raises(StudyError, match=message) as fault:
        read_results(tmp_path)
    assert "results.json" in str(fault.value)


def test_a_lost_key_is_told(results):
    for key in study_record(results).keys() - {"answer"}:  # which follows from the rest
        record = study_record(results)
        del record[key]
        with pytest.raises(ValueError, match=key):
            results_of(record)


def test_no_file_and_no_json_are_told(tmp_path):
    with pytest.raises(StudyError, match=r"cannot be read .*Name the output folder of a run"):
        read_results(tmp_path)
    (tmp_path / "results.json").write_text("{", encoding="utf-8")
    with pytest.raises(StudyError, match="is not JSON"):
        read_results(tmp_path)


def test_every_field_of_the_results_is_written_and_read():
    topics = {item.name for item in topic_fields(StudyResults)}
    others = {"title", "joint", "options", "trials", "version", "inputs", "parameters", "notes",
              "invented", "recordings_pooled", "decisions", "without_decisions"}  # fmt: skip
    several = set(OF_SEVERAL.values())  # tests/analysis/test_several_instruments.py
    assert {item.name for item in fields(StudyResults)} == topics | others | several
