from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.agreement import compare_curves, cycle_variability, limits_of_agreement
from twinangle.agreement.budget import PARTS
from twinangle.analysis.groups import cycle_quantity, group_trials
from twinangle.analysis.topics import TOPICS
from twinangle.options import Options
from twinangle.results import TrialResult, Variability, absences, given, named
from twinangle.signals.recording import CycleSet

OPTIONS = Options(
    confidence=0.95,
    margin_deg=5.0,
    error_ratio=None,
    published_interval=False,
    reference_sd_deg=None,
    against=None,
    seed=20,
)
POINTS = np.linspace(0, 2 * np.pi, 101)


def invented_trial(rng, participant, *, condition="indoor", procedure="a", bias=0.0, n=12):
    """Return a trial of invented curves; `bias` is the wearable's offset. No person."""
    reference = 30 - 30 * np.cos(POINTS) + rng.normal(0, 1, (n, 1))
    wearable = reference + bias + rng.normal(0, 0.3, (n, 1))
    start = np.arange(n + 1) * 1.1
    with_reference = condition == "indoor"
    cycles = CycleSet(
        start_s=start[:-1],
        end_s=start[1:],
        reason=("turn: 170°",) + ("",) * (n - 1),
        wearable_deg=wearable,
        reference_deg=reference if with_reference else None,
        method="events",
    )
    return TrialResult(
        participant=participant,
        session="1",
        condition=condition,
        trial="1",
        side="left",
        procedure=procedure,
        status="ok",
        cycles=cycles,
        agreement=compare_curves(wearable[1:], reference[1:]) if with_reference else None,
        variability=Variability(cycle_variability(wearable[1:])),
    )


def pool(topic, trials, options=OPTIONS):
    return TOPICS[topic](group_trials(trials), options)


@pytest.fixture
def trials():
    rng = np.random.default_rng(4)
    people = [f"P{k:02d}" for k in range(6)]
    biases = rng.normal(1, 1, 6)
    made = []
    for person, bias in zip(people, biases, strict=True):
        made.append(invented_trial(rng, person, bias=bias))
        made.append(invented_trial(rng, person, procedure="b", bias=bias + 3))
        made.append(invented_trial(rng, person, condition="outdoor"))
        made.append(invented_trial(rng, person, condition="outdoor", procedure="b"))
    return made


def test_quantities_of_a_known_cycle():
    curve = np.array([[0.0, 10.0, 20.0], [5.0, 5.0, 8.0]])
    assert_allclose(cycle_quantity(curve, "mean_deg"), [10, 6])
    assert_allclose(cycle_quantity(curve, "peak_flexion_deg"), [20, 8])
    assert_allclose(cycle_quantity(curve, "range_deg"), [20, 3])
    with pytest.raises(ValueError, match="must be one of"):
        cycle_quantity(curve, "median_deg")


def test_excluded_cycles_do_not_enter_the_limits(trials):
    pooled = [found for _, found in given(pool("limits", trials))]
    assert len(pooled) == 6  # two procedures, one condition with a reference, three quantities
    assert all(len(item.difference) == 6 * 11 for item in pooled)
    again = limits_of_agreement(pooled[0].difference, pooled[0].participant)
    assert_allclose(
        [pooled[0].limits.lower, pooled[0].limits.upper], [again.lower, again.upper], rtol=1e-12
    )


def test_a_constant_moves_the_bias_alone(trials):
    first, second = (pool("limits", trials)[k].value.limits for k in (0, 3))
    assert second.bias - first.bias == pytest.approx(3, abs=0.3)


def test_one_participant_is_within_participant_only(trials):
    alone = [trial for trial in trials if trial.participant == "P00"]
    assert all("within this participant" in one.note for _, one in given(pool("limits", alone)))
    claims = given(pool("equivalence", alone))
    assert {claim.verdict for _, claim in claims} == {"undecided"}
    assert all("other people" in claim.reason for _, claim in claims)


def test_the_verdict_is_on_the_limits_that_are_shown(trials):
    pooled, claims = named(pool("limits", trials)), named(pool("equivalence", trials))
    assert [where for where, _ in claims] == [where for where, _ in pooled]
    for (_, claim), (_, item) in zip(claims, pooled, strict=True):
        assert (claim.lower_ci, claim.upper_ci) == (item.limits.lower_ci, item.limits.upper_ci)
    judged = pool("equivalence", trials, replace(OPTIONS, margin_deg=None))
    assert all("no margin" in absent.reason for _, absent in absences(judged))
    assert len(absences(judged)) == len(judged) == 6


def test_a_published_interval_stands_beside_the_own_one_where_it_is_asked_for(trials):
    asked = replace(OPTIONS, published_interval=True)
    pairs = zip(given(pool("limits", trials)), given(pool("limits", trials, asked)), strict=True)
    pairs = list(pairs)
    assert len(pairs) == 6  # two procedures, three quantities
    for (_, plain), (_, both) in pairs:
        assert plain.published is None
        assert both.limits.lower_ci == plain.limits.lower_ci
        assert "own method" in both.limits.interval_method
        # its own worked values: tests/published/test_zou.py
        direct = limits_of_agreement(both.difference, both.participant, form="pooled-within")
        assert both.published.upper_ci == direct.upper_ci
        assert "MOVER" in both.published.interval_method
    alone = [trial for trial in trials if trial.participant == trials[0].participant]
    assert all(one.published is None for _, one in given(pool("limits", alone, asked)))


def test_conditions_are_compared_with_the_one_that_has_a_reference(trials):
    compared = [one for _, one in given(pool("conditions", list(reversed(trials))))]
    assert {(item.condition, item.against) for item in compared} == {("outdoor", "indoor")}
    turned = given(pool("conditions", trials, replace(OPTIONS, against="outdoor")))
    assert turned[0][1].difference == pytest.approx(-compared[-1].difference)


def test_the_better_procedure_ranks_first(trials):
    ((where, contest),) = given(pool("ranking", trials))
    assert where.condition == "indoor"
    assert {place.procedure for place in contest.standings} == {"a", "b"}
    # Both have the same demeaned error by construction: only the offset differs.
    assert all(place.rank == 1 for place in contest.standings)


def test_budget_parts_add_up(trials):
    budgets = given(pool("budget", trials))
    assert {item.procedure for item, _ in budgets} == {"a", "b"}
    for _, budget in budgets:
        assert sum(getattr(budget, part) for part in PARTS) == pytest.approx(budget.total)
        assert budget.n_participants == 6


def test_one_mean_of_the_rms_wherever_it_stands(trials):
    ((_, contest),) = given(pool("ranking", trials))
    ranked = {place.procedure: place.mean for place in contest.standings}
    pooled = {where.procedure: curves for where, curves in given(pool("curves", trials))}
    assert set(ranked) == set(pooled)
    for procedure, curves in pooled.items():
        own = [t.agreement.rms_demeaned for t in trials if t.agreement and t.procedure == procedure]
        assert_allclose(curves.rms_demeaned, np.mean(own), rtol=1e-12)
        assert_allclose(ranked[procedure], curves.rms_demeaned, rtol=1e-12)
        low, high = curves.rms_demeaned_ci
        assert 0 < low < curves.rms_demeaned < high
        assert "arithmetic mean" in curves.summary("°")


def test_the_median_absolute_deviation_is_pooled_by_procedure_and_condition(trials):
    # the fixture's curves have the same shape in both instruments: here they part
    rng = np.random.default_rng(6)
    seen = []
    for one in (t for t in trials if t.agreement is not None):
        reference = np.tile(one.agreement.reference_mean, (5, 1))
        wearable = reference + rng.uniform(0.5, 2) * np.sin(POINTS) + rng.normal(0, 0.2, (5, 101))
        seen.append(replace(one, agreement=compare_curves(wearable, reference)))
    pooled = given(pool("curves", seen))
    assert {(where.procedure, where.condition) for where, _ in pooled} == {
        ("a", "indoor"),
        ("b", "indoor"),
    }
    for where, curves in pooled:
        own = [t.agreement.mad_demeaned for t in seen if t.procedure == where.procedure]
        assert_allclose(curves.mad_demeaned, np.mean(own), rtol=1e-12)
        low, high = curves.mad_demeaned_ci
        assert 0 < low < curves.mad_demeaned < high
