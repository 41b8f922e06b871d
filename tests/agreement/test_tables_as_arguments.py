"""A statistic of a table's columns is that of the arrays in them."""

from __future__ import annotations

import inspect
from dataclasses import fields
from functools import partial

import numpy as np
import pandas as pd
import pytest

import twinangle.agreement as ag

RNG = np.random.default_rng(3)
PEOPLE = np.repeat([f"P{k}" for k in range(6)], 5)
CUFF = RNG.normal(120, 8, PEOPLE.size)
WATCH = CUFF + RNG.normal(1, 2, PEOPLE.size) + np.repeat(RNG.normal(0, 1, 6), 5)
TABLE = pd.DataFrame({"watch": WATCH, "cuff": CUFF, "id": PEOPLE, "d": WATCH - CUFF})
CURVES = RNG.normal(0, 1, (12, 21)).cumsum(axis=1)
OTHERS = CURVES + RNG.normal(1, 0.3, CURVES.shape)
WHOSE = np.repeat(["A", "B", "C", "D"], 3)
LONG = pd.DataFrame(
    {
        "test": OTHERS.ravel(), "other": CURVES.ravel(), "id": np.repeat(WHOSE, 21),
        "cycle": np.repeat(np.tile(np.arange(3), 4), 21),
        "percent": np.tile(np.linspace(0, 100, 21), 12),
    }
)  # fmt: skip
KEPT = np.arange(12) % 4 != 0
TWO = LONG.assign(
    whose=LONG["id"].map(dict(zip("ABCD", "XXYY", strict=True))), kept=np.repeat(KEPT, 21),
    odd=np.repeat(~KEPT, 21),
)  # fmt: skip


def by_person(of):
    return [of(OTHERS[code == WHOSE], CURVES[code == WHOSE]) for code in "ABCD"]


def same(first, second):
    for item in fields(first):
        ours, theirs = getattr(first, item.name), getattr(second, item.name)
        if isinstance(ours, float | np.ndarray):
            np.testing.assert_array_equal(ours, theirs)
        elif not hasattr(ours, "__dataclass_fields__"):
            assert repr(ours) == repr(theirs)


@pytest.mark.parametrize(
    ("by_table", "by_arrays"),
    [
        (
            lambda: ag.limits_of_agreement(
                data=TABLE, test="watch", reference="cuff", participant="id"
            ),
            lambda: ag.limits_of_agreement(WATCH - CUFF, PEOPLE),
        ),
        (
            lambda: ag.limits_of_agreement("d", "id", data=TABLE),
            lambda: ag.limits_of_agreement(WATCH - CUFF, PEOPLE),
        ),
        (
            lambda: ag.limits_of_agreement(test=WATCH, reference=CUFF),
            lambda: ag.limits_of_agreement(WATCH - CUFF),
        ),
        (
            lambda: ag.equivalence_test(("watch", "cuff"), 8, "id", data=TABLE),
            lambda: ag.equivalence_test(WATCH - CUFF, 8, PEOPLE),
        ),
        (
            lambda: ag.limits_without_reference_error("d", 0.5, "id", data=TABLE),
            lambda: ag.limits_without_reference_error(WATCH - CUFF, 0.5, PEOPLE),
        ),
        (
            lambda: ag.within_participant_limits(("watch", "cuff"), data=TABLE),
            lambda: ag.within_participant_limits(WATCH - CUFF),
        ),
        (
            lambda: ag.percentile_limits(data=TABLE, test="watch", reference="cuff"),
            lambda: ag.percentile_limits(WATCH - CUFF),
        ),
        (
            lambda: ag.mixed_model_limits(("watch", "cuff"), "id", data=TABLE),
            lambda: ag.mixed_model_limits(WATCH - CUFF, PEOPLE),
        ),
        (
            lambda: ag.check_differences("watch", "cuff", "id", data=TABLE),
            lambda: ag.check_differences(WATCH, CUFF, PEOPLE),
        ),
        (
            lambda: ag.ratio_limits("watch", "cuff", data=TABLE),
            lambda: ag.ratio_limits(WATCH, CUFF),
        ),
        (
            lambda: ag.regression_limits("watch", "cuff", data=TABLE),
            lambda: ag.regression_limits(WATCH, CUFF),
        ),
        (
            lambda: ag.deming_regression("watch", "cuff", error_ratio=1, data=TABLE),
            lambda: ag.deming_regression(WATCH, CUFF, error_ratio=1),
        ),
        (
            lambda: ag.concordance("watch", "cuff", data=TABLE),
            lambda: ag.concordance(WATCH, CUFF),
        ),
        (
            lambda: ag.compare_curves("test", "other", data=LONG.sample(frac=1, random_state=1)
                                      .sort_values(["id", "cycle"], kind="stable"),
                                      cycle=["id", "cycle"]),
            lambda: ag.compare_curves(OTHERS, CURVES),
        ),
        (
            lambda: ag.compare_variability("test", "other", data=LONG, cycle=["id", "cycle"]),
            lambda: ag.compare_variability(OTHERS, CURVES),
        ),
        (
            lambda: ag.cycle_variability("test", data=LONG, cycle=["id", "cycle"]),
            lambda: ag.cycle_variability(OTHERS),
        ),
        (
            lambda: ag.error_budget("test", "other", data=LONG, cycle=["id", "cycle"]),
            lambda: ag.error_budget(OTHERS, CURVES),
        ),
        (
            lambda: ag.curve_band("test", "id", data=LONG),
            lambda: ag.curve_band(OTHERS, WHOSE),
        ),
        (
            lambda: ag.functional_limits("test", "other", "id", data=LONG),
            lambda: ag.functional_limits(OTHERS, CURVES, WHOSE),
        ),
        (
            lambda: ag.instrument_multiple_correlation("test", "other", data=LONG,
                                                       cycle=["id", "cycle"]),
            lambda: ag.instrument_multiple_correlation(OTHERS, CURVES),
        ),
        (
            lambda: ag.pool_curves(data=LONG, test="test", reference="other", participant="id"),
            lambda: ag.pool_curves(by_person(ag.compare_curves), list("ABCD")),
        ),
        (
            lambda: ag.pool_curves(data=TWO, test="test", reference="other", participant="whose",
                                   trial=["id"], confidence=0.9),
            lambda: ag.pool_curves(by_person(partial(ag.compare_curves, confidence=0.9)),
                                   ["X", "X", "Y", "Y"], confidence=0.9),
        ),
        (
            lambda: ag.pool_variability("test", "other", "id", data=LONG),
            lambda: ag.pool_variability(
                by_person(lambda a, _: ag.cycle_variability(a)),
                by_person(lambda _, b: ag.cycle_variability(b)), list("ABCD"),
            ),
        ),
        (
            lambda: ag.pool_budgets(data=LONG, test="test", reference="other", participant="id"),
            lambda: ag.pool_budgets(by_person(ag.error_budget)),
        ),
        (
            lambda: ag.leave_one_out(data=TABLE, test="watch", reference="cuff", participant="id"),
            lambda: ag.leave_one_out(WATCH - CUFF, PEOPLE),
        ),
        (
            lambda: ag.intraclass_correlations(["watch", "cuff"], data=TABLE)[1],
            lambda: ag.intraclass_correlations(np.column_stack([WATCH, CUFF]))[1],
        ),
        (
            lambda: ag.measurement_error(["watch", "cuff"], data=TABLE),
            lambda: ag.measurement_error(np.column_stack([WATCH, CUFF])),
        ),
        (
            lambda: ag.exclusion_effect("test", "other", kept="kept", outlying="odd", data=TWO,
                                        cycle=["id", "cycle"]),
            lambda: ag.exclusion_effect(OTHERS, CURVES, kept=KEPT, outlying=~KEPT),
        ),
        (
            lambda: ag.exclusion_effect("test", None, kept="kept", outlying="odd", data=TWO,
                                        cycle=["id", "cycle"]),
            lambda: ag.exclusion_effect(OTHERS, None, kept=KEPT, outlying=~KEPT),
        ),
    ],
)  # fmt: skip
def test_columns_are_the_arrays_in_them(by_table, by_arrays):
    same(by_table(), by_arrays())


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: ag.limits_of_agreement("d"), "'d'; the name of a column needs the table"),
        (lambda: ag.limits_of_agreement("e", data=TABLE), "names 'e', which `data` has not"),
        (lambda: ag.limits_of_agreement(), "give `difference`.*alone, or `test` and"),
        (lambda: ag.limits_of_agreement(test=WATCH), "give `difference`"),
        (lambda: ag.limits_of_agreement("d", data=TABLE.to_dict()), "must be a pandas DataFrame"),
        (lambda: ag.limits_of_agreement(test=WATCH, reference=CUFF[1:]), "each pair needs both"),
        (lambda: ag.compare_curves("test", "other", data=LONG), "needs every point once"),
        (lambda: ag.compare_curves("test", "other", data=LONG[1:]), "needs every point"),
        (lambda: ag.cycle_variability("test", data=LONG, point="p"), "`point` names 'p'"),
        (lambda: ag.pool_curves(), "give `agreements` and `participant`, or `data`"),
        (lambda: ag.pool_curves(data=LONG, test="test", reference="other"),
         "`participant` must be the name of one of its columns, got nothing"),
        (lambda: ag.pool_curves(test="test"), "`test` goes with `data`; without a table give"),
        (lambda: ag.pool_curves([], data=LONG), "not both"),
        (lambda: ag.pool_budgets(data=LONG, test="test", reference="x", participant="id"),
         "`reference` names 'x', which `data` has not"),
        (lambda: ag.pool_budgets(participant="id"), "`participant` goes with `data`"),
        (lambda: ag.pool_variability("test", "other", "id"), "needs the table too"),
        (lambda: ag.leave_one_out("d", "id"), "needs the table too"),
        (lambda: ag.measurement_error(["watch", "x"], data=TABLE), r"`scores\[1\]` names 'x'"),
        (lambda: ag.exclusion_effect("test", None, kept="percent", outlying="odd", data=TWO,
                                     cycle=["id", "cycle"]), "`kept` changes within a cycle"),
    ],
)  # fmt: skip
def test_what_a_table_lacks_is_named(call, message):
    with pytest.raises(ValueError, match=message):
        call()


# Take a result, or numbers that no table has.
WITHOUT_ARRAYS = {
    "cycles_for_mean", "cycles_for_sd", "judge_limits", "participants_for_limits",
    "participants_for_limits_within", "participants_for_sd_ratio", "participants_for_sem",
    "simulate_studies",
}  # fmt: skip


def test_every_statistic_of_arrays_takes_a_table():
    functions = {name for name in ag.__all__ if inspect.isfunction(getattr(ag, name))}
    of_table = {n for n in functions if "data" in inspect.signature(getattr(ag, n)).parameters}
    assert functions - of_table == WITHOUT_ARRAYS
