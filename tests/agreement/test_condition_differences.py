import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import signal, stats

from twinangle.agreement import cycle_variability
from twinangle.agreement.conditions import compare_conditions
from twinangle.agreement.serial_spread import log_unbiased_factor

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
    frame = trials(1, k=1)
    (result,) = compare_conditions(frame, against="indoor")
    means = frame.groupby("condition")["value"].mean()
    assert_allclose(result.difference, means["outdoor"] - means["indoor"])
    logs = np.log(frame["value"]).groupby(frame["condition"]).mean()
    assert_allclose(result.ratio, np.exp(logs["outdoor"] - logs["indoor"]))
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
    assert compare_conditions(trials(1).query("condition == 'indoor'"), against="indoor") == []


def test_values_not_above_zero_have_no_ratio():
    frame = trials(1)
    frame.loc[0, "value"] = 0.0
    (result,) = compare_conditions(frame, against="indoor")
    assert np.isnan(result.ratio)
    assert "no ratio" in result.note


# ---- standard deviations over cycles


def walks(seed: int, k: int = 6, serial: float = 0.5, numbers=((8, 15), (60, 100)), repeats=1):
    """Invented trials of equal SD and the serially correlated curves behind them."""
    rng = np.random.default_rng(seed)
    rows, curves = [], []
    for i in range(k):
        size = np.exp(0.3 * rng.standard_normal())
        for condition, (low, high) in zip(("indoor", "outdoor"), numbers, strict=True):
            for _ in range(repeats):
                noise = rng.standard_normal((rng.integers(low, high + 1), 5))
                noise[1:] *= np.sqrt(1 - serial**2)
                rows.append((f"P{i}", condition))
                curves.append(size * signal.lfilter([1.0], [1.0, -serial], noise, axis=0))
    return pd.DataFrame(rows, columns=["participant", "condition"]), curves


def test_numbers_of_cycles_without_the_cycles_are_warned_of():
    frame = trials(4).assign(n_cycles=[8, 60] * 14)
    with pytest.warns(UserWarning, match="without the cycles"):
        (warned,) = compare_conditions(frame, against="indoor")
    (plain,) = compare_conditions(frame.drop(columns="n_cycles"), against="indoor")
    assert "without the cycles" in warned.note
    assert warned.difference == plain.difference


def test_c4_alone_takes_equal_spreads_of_unlike_numbers_of_cycles_for_different():
    """What the cycles are for: freed of c4 only the SD outdoors is too large in every study."""
    freed, found = [], []
    for seed in range(25):
        frame, curves = walks(seed)
        sds = [each.std(axis=0, ddof=1).mean() for each in curves]
        logs = np.log(sds) - log_unbiased_factor(np.array([float(len(each)) for each in curves]))
        freed.append((logs[1::2] - logs[::2]).mean())
        (result,) = compare_conditions(frame, against="indoor", variability=curves)
        found.append(np.log(result.ratio))
    assert np.mean(freed) > 0.06
    assert abs(np.mean(found)) < 2.5 * np.std(found) / np.sqrt(25)


def test_curves_and_their_variability_are_the_same_input():
    frame, curves = walks(3)
    objects = [cycle_variability(each) for each in curves]
    (one,) = compare_conditions(frame, against="indoor", variability=curves)
    named = frame.assign(value=[each.sd for each in objects], n_cycles=[len(c) for c in curves])
    (other,) = compare_conditions(named, against="indoor", variability=objects)
    assert one.to_frame().equals(other.to_frame())
    assert one.interval_over == "participants"
    assert 8 <= one.fewest_window <= one.most_window <= 15
    assert one.windows_ratio_ci[0] < one.windows_ratio < one.windows_ratio_ci[1]
    assert_allclose([one.serial, one.serial_against], 0.5, atol=0.25)


@settings(max_examples=6)
@given(seeds)
def test_order_of_rows_and_mirrored_time_leave_the_result(seed):
    frame, curves = walks(seed, k=4, numbers=((5, 8), (9, 20)), repeats=2)
    (before,) = compare_conditions(frame, against="indoor", variability=curves)
    order = np.random.default_rng(seed).permutation(len(frame))
    (after,) = compare_conditions(
        frame.iloc[order], against="indoor", variability=[curves[i][::-1] for i in order]
    )
    assert_allclose(
        [after.ratio, *after.difference_ci], [before.ratio, *before.difference_ci], rtol=1e-6
    )


def test_copies_of_a_participants_trials_do_not_shrink_the_interval_of_sds():
    frame, curves = walks(5)
    (once,) = compare_conditions(frame, against="indoor", variability=curves)
    (more,) = compare_conditions(
        pd.concat([frame] * 3), against="indoor", variability=[*curves] * 3
    )
    assert_allclose(more.difference_ci, once.difference_ci)
    assert more.n_participants == once.n_participants


def test_one_participant_has_an_interval_over_cycles_and_the_note_says_so():
    frame, curves = walks(2, k=1)
    (result,) = compare_conditions(frame, against="indoor", variability=curves)
    assert result.ratio_ci[0] < result.ratio < result.ratio_ci[1]
    assert result.difference_ci[0] < result.difference < result.difference_ci[1]
    assert result.interval_over == "cycles of one participant"
    assert "nothing of other people" in result.note
    assert "cycles of one participant" in result.summary("°")
    assert np.isnan(result.windows_ratio_ci).all()


def test_trials_of_two_cycles_are_left_out_and_named():
    frame, curves = walks(2)
    frame.loc[len(frame)] = ("P9", "indoor")
    (result,) = compare_conditions(frame, against="indoor", variability=[*curves, np.zeros((2, 5))])
    assert "P9 indoor (2 cycles)" in result.note
    assert result.n_participants == 6


def test_cycles_that_do_not_vary_have_a_difference_but_no_ratio():
    frame, curves = walks(2)
    (whole,) = compare_conditions(frame, against="indoor", variability=curves)
    curves[0] = np.zeros((9, 5))
    (result,) = compare_conditions(frame, against="indoor", variability=curves)
    assert np.isnan(result.ratio)
    # The first of six people has lost an SD indoors.
    assert whole.difference < result.difference < whole.difference + 1
    assert "no ratio" in result.note


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda f, c: (f, c[1:]), "11 entries for 12 rows"),
        (lambda f, c: (f, [*c[1:], np.zeros(4)]), "`variability` of row 11"),
        (lambda f, c: (f.assign(value=9.0), c), "`value` in row 0 is 9, but the cycles"),
        (lambda f, c: (f.assign(n_cycles=3), c), "`n_cycles` in row 0 is 3, but the cycles"),
    ],
)
def test_cycles_that_are_not_those_of_the_rows_are_refused(change, message):
    frame, curves = change(*walks(2))
    with pytest.raises(ValueError, match=message):
        compare_conditions(frame, against="indoor", variability=curves)


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
