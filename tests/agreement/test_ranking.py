"""Ranking of procedures: scipy and pingouin as references, ties, and what is dropped."""

import numpy as np
import pandas as pd
import pingouin
import pytest
from scipy import stats

from twinangle.agreement.ranking import rank_procedures


def invented_errors(seed=0, *, people=8, trials=3, gain=None):
    """One row a trial and procedure; participants differ far more than procedures do."""
    rng = np.random.default_rng(seed)
    gain = {"kalman": 0.0, "vqf": 0.6, "own": 0.02} if gain is None else gain
    rows = []
    for person in range(people):
        level = 2 + rng.gamma(2.0)
        for trial in range(trials):
            shared = level + 0.3 * rng.normal()
            rows += [
                (f"P{person:02d}", f"t{trial}", name, shared + shift + 0.1 * rng.normal())
                for name, shift in gain.items()
            ]
    return pd.DataFrame(rows, columns=["participant", "trial", "procedure", "value"])


def participant_means(errors):
    return errors.pivot_table(index="participant", columns="procedure", values="value")


def test_two_procedures_match_scipys_and_pingouins_paired_t():
    errors = invented_errors(gain={"a": 0.0, "b": 0.1})
    means = participant_means(errors)
    contest = rank_procedures(errors, confidence=0.9)
    (pair,) = contest.differences

    reference = stats.ttest_rel(means[pair.first], means[pair.second])
    interval = reference.confidence_interval(0.9)
    assert [pair.lower, pair.upper] == pytest.approx([interval.low, interval.high])
    assert pair.p_value == pytest.approx(reference.pvalue)
    table = pingouin.ttest(means[pair.first], means[pair.second], paired=True)
    column = next(name for name in table.columns if name.lower().replace("_", "-") == "p-val")
    assert pair.p_value == pytest.approx(table[column].iloc[0])
    assert pair.difference == pytest.approx(means["a"].mean() - means["b"].mean())


def test_three_procedures_get_bonferroni_intervals():
    errors = invented_errors()
    contest = rank_procedures(errors)
    means = participant_means(errors)
    assert len(contest.differences) == 3
    for pair in contest.differences:
        interval = stats.ttest_rel(means[pair.first], means[pair.second]).confidence_interval(
            1 - 0.05 / 3
        )
        assert [pair.lower, pair.upper] == pytest.approx([interval.low, interval.high])


def test_a_sure_difference_below_the_least_that_counts_is_a_tie():
    """0.004 between procedures whose errors hardly vary was called apart."""
    errors = invented_errors(gain={"a": 0.0})
    other = errors.assign(procedure="b", value=errors["value"] + 0.004)
    other["value"] += 0.0005 * np.random.default_rng(2).normal(size=len(other))
    both = pd.concat([errors, other])
    (sure,) = rank_procedures(both).differences
    assert not sure.tied
    contest = rank_procedures(both, least=0.1)
    (pair,) = contest.differences
    assert pair.lower > 0 or pair.upper < 0
    assert pair.tied
    assert [place.rank for place in contest.standings] == [1, 1]
    assert [pair.lower, pair.upper] == [sure.lower, sure.upper]
    far = rank_procedures(pd.concat([errors, other.assign(value=other["value"] + 1)]), least=0.1)
    assert not far.differences[0].tied
    with pytest.raises(ValueError, match="`least` is -1"):
        rank_procedures(both, least=-1)


def test_the_worse_is_ranked_below_and_equals_tie():
    contest = rank_procedures(invented_errors(), quantity="rms_demeaned_deg")
    places = {place.procedure: place for place in contest.standings}
    assert places["kalman"].rank == places["own"].rank == 1
    assert places["kalman"].tied_with == ("own",)
    assert places["vqf"].rank == 3
    assert places["vqf"].tied_with == ()
    assert contest.standings[-1].procedure == "vqf"
    assert "(tie)" in contest.summary()
    assert contest.to_frame()["rank"].tolist() == [1, 1, 3]
    assert contest.differences_to_frame()["tied"].sum() == 1


@pytest.mark.parametrize("seed", range(3))
def test_order_of_rows_and_a_constant_change_nothing_but_the_means(seed):
    errors = invented_errors(seed)
    shuffled = errors.sample(frac=1, random_state=seed)
    shuffled["value"] = shuffled["value"] + 5
    plain, moved = rank_procedures(errors), rank_procedures(shuffled)
    assert len(plain.standings) == 3
    for one, two in zip(plain.standings, moved.standings, strict=True):
        assert (one.procedure, one.rank, one.tied_with) == (
            two.procedure,
            two.rank,
            two.tied_with,
        )
        assert two.mean == pytest.approx(one.mean + 5)


def test_unequal_numbers_of_trials_do_not_weigh_participants():
    errors = invented_errors(people=4, trials=1)
    twice = errors[errors["participant"] == "P00"].assign(trial="again")
    contest = rank_procedures(pd.concat([errors, twice]))
    expected = errors.groupby("procedure")["value"].mean()
    assert {place.procedure for place in contest.standings} == set(expected.index)
    for place in contest.standings:
        assert place.mean == pytest.approx(expected[place.procedure])


def test_ties_hold_their_error_rate_under_equality():
    """With equal procedures a wrong ranking is as rare as promised (5 % of contests at most)."""
    wrong = 0
    for seed in range(60):
        equal = invented_errors(seed, trials=1, gain={"a": 0.0, "b": 0.0, "c": 0.0})
        wrong += any(place.rank > 1 for place in rank_procedures(equal).standings)
    assert wrong <= stats.binom.ppf(0.999, 60, 0.05)


def test_incomplete_trials_are_dropped_for_all_and_named():
    errors = invented_errors()
    errors.loc[0, "value"] = np.nan
    errors = errors.drop(index=errors.index[-1])
    contest = rank_procedures(errors)
    assert contest.dropped == ("P00 t0", "P07 t2")
    assert contest.n_trials == 22


def test_one_participant_ranks_nothing():
    contest = rank_procedures(invented_errors(people=1))
    assert {place.rank for place in contest.standings} == {1}
    assert np.isnan(contest.differences[0].lower)
    assert "1 participant, " in contest.summary()


def test_identical_procedures_tie():
    errors = invented_errors(gain={"a": 0.0})
    contest = rank_procedures(pd.concat([errors, errors.assign(procedure="b")]))
    assert contest.differences[0].tied
    assert contest.differences[0].p_value == 1.0


def test_refusals():
    errors = invented_errors()
    with pytest.raises(ValueError, match=r"lacks the column\(s\) \['value'\]"):
        rank_procedures(errors.drop(columns="value"))
    with pytest.raises(ValueError, match="two procedures or more"):
        rank_procedures(errors[errors["procedure"] == "vqf"])
    with pytest.raises(ValueError, match="'kalman' twice for participant 'P00', trial 't0'"):
        rank_procedures(pd.concat([errors, errors.head(1)]))
    with pytest.raises(ValueError, match="no trial holds a value for every"):
        rank_procedures(errors.assign(value=np.nan))
    with pytest.raises(ValueError, match="confidence"):
        rank_procedures(errors, confidence=95)
