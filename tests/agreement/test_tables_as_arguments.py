"""A statistic of a table's columns is that of the arrays in them."""

from __future__ import annotations

from dataclasses import fields

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
    ],
)  # fmt: skip
def test_what_a_table_lacks_is_named(call, message):
    with pytest.raises(ValueError, match=message):
        call()
