import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement.conditions import compare_conditions, unbiased_sd_factor

seeds = st.integers(0, 2**32 - 1)


def trials(seed: int, k: int = 7, repeats: int = 2) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = [
        (f"P{i}", condition, rng.uniform(1, 3) + (condition == "outdoor"))
        for i in range(k)
        for condition in ("indoor", "outdoor")
        for _ in range(repeats)
    ]
    return pd.DataFrame(rows, columns=["participant", "condition", "value"])


@given(seeds)
def test_difference_is_the_paired_t_interval_of_scipy(seed):
    frame = trials(seed)
    wide = frame.groupby(["participant", "condition"])["value"].mean().unstack()  # noqa: PD010
    (result,) = compare_conditions(frame, against="indoor")
    expected = stats.ttest_rel(wide["outdoor"], wide["indoor"]).confidence_interval(0.95)
    assert_allclose(result.difference_ci, expected)
    assert result.n_participants == 7


def test_difference_agrees_with_pingouin():
    frame = trials(5, repeats=1)
    wide = frame.pivot_table(index="participant", columns="condition", values="value")
    test = pingouin.ttest(wide["outdoor"], wide["indoor"], paired=True)
    (result,) = compare_conditions(frame, against="indoor")
    assert_allclose(result.difference_ci, test.iloc[0].filter(like="CI").item(), atol=0.006)


@given(seeds)
def test_swapping_conditions_negates_the_difference_and_inverts_the_ratio(seed):
    frame = trials(seed)
    (there,) = compare_conditions(frame, against="indoor")
    (back,) = compare_conditions(frame, against="outdoor")
    assert_allclose(there.difference, -back.difference)
    assert_allclose(there.ratio_ci, [1 / back.ratio_ci[1], 1 / back.ratio_ci[0]])


@given(seeds, st.floats(0.1, 10))
def test_scale_leaves_the_ratio(seed, scale):
    frame = trials(seed)
    (before,) = compare_conditions(frame, against="indoor")
    (after,) = compare_conditions(frame.assign(value=scale * frame["value"]), against="indoor")
    assert_allclose(after.ratio_ci, before.ratio_ci)
    assert_allclose(after.difference_ci, scale * np.array(before.difference_ci))


def test_copies_of_a_participants_trials_do_not_shrink_the_interval():
    frame = trials(2)
    (once,) = compare_conditions(frame, against="indoor")
    (more,) = compare_conditions(pd.concat([frame] * 5), against="indoor")
    assert_allclose(more.difference_ci, once.difference_ci)


def test_one_participant_has_no_interval_and_the_note_says_so():
    (result,) = compare_conditions(trials(1, k=1), against="indoor")
    assert np.isfinite([result.difference, result.ratio]).all()
    assert np.isnan([*result.difference_ci, *result.ratio_ci]).all()
    assert "One participant" in result.note
    assert "no interval" in result.summary("°")


def test_participants_without_both_conditions_do_not_count():
    frame = trials(3).query("not (participant == 'P0' and condition == 'outdoor')")
    (result,) = compare_conditions(frame, against="indoor")
    assert result.n_participants == 6


def test_conditions_without_a_common_participant():
    frame = pd.DataFrame(
        {"participant": ["A", "B"], "condition": ["indoor", "outdoor"], "value": [1.0, 2.0]}
    )
    (result,) = compare_conditions(frame, against="indoor")
    assert result.n_participants == 0
    assert np.isnan(result.difference)
    assert "both conditions" in result.note


def test_one_condition_alone_gives_nothing_to_compare():
    assert compare_conditions(trials(1).query("condition == 'indoor'"), against="indoor") == ()


def test_values_not_above_zero_have_no_ratio():
    frame = trials(1)
    frame.loc[0, "value"] = 0.0
    (result,) = compare_conditions(frame, against="indoor")
    assert np.isnan(result.ratio)
    assert "no ratio" in result.note


def test_number_of_cycles_frees_the_sd_of_its_small_sample_bias():
    frame = trials(4).assign(n_cycles=5)
    (plain,) = compare_conditions(frame.drop(columns="n_cycles"), against="indoor")
    (freed,) = compare_conditions(frame, against="indoor")
    assert_allclose(freed.difference, plain.difference / 0.9400, rtol=1e-4)  # c4(5), NIST handbook


@pytest.mark.parametrize(("n", "c4"), [(2, 0.7979), (5, 0.9400), (10, 0.9727), (25, 0.9896)])
def test_c4_as_tabulated(n, c4):
    # NIST/SEMATECH e-Handbook 6.3.2 and standard control-chart tables.
    assert_allclose(unbiased_sd_factor(np.array([float(n)])), c4, atol=5e-5)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda f: f.drop(columns="value"), "no column 'value'"),
        (lambda f: f.assign(condition="barn"), "`against` is 'indoor', but the conditions are"),
        (lambda f: f.assign(value=np.nan), "`value` in row 0"),
        (lambda f: f.assign(value="fast"), "'fast', not a number"),
        (lambda f: f.assign(participant=None), "`participant` is missing in row 0"),
        (lambda f: f.assign(n_cycles=1), "`n_cycles` in row 0 is 1"),
    ],
)
def test_bad_tables_are_named(change, message):
    with pytest.raises(ValueError, match=message):
        compare_conditions(change(trials(1)), against="indoor")
