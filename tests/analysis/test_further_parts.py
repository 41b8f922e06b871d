"""Parts that only some designs support: several sessions and trials, or the reason why not."""

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pingouin
import pytest
from numpy.testing import assert_allclose

from twinangle.agreement.curves import compare_curves
from twinangle.agreement.deming import deming_regression
from twinangle.agreement.variability import cycle_variability
from twinangle.analysis.groups import group_trials
from twinangle.analysis.topics import TOPICS, pool_topics
from twinangle.cycles.summary import stride_summary
from twinangle.options import Options
from twinangle.results import Absent, TrialResult, Variability, absences, given
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
PHASE = np.linspace(0, 1, 41)


def trial(rng, level, participant, session="1", number="1", condition="indoor", *, reference=True):
    """One invented trial of 12 cycles; `level` is the participant's own offset."""
    true = 3 + 60 * np.exp(-(((PHASE - 0.7) / 0.09) ** 2) / 2) + rng.normal(0, 1, (12, 1))
    wearable = true + level + rng.normal(0, 0.5, (12, 1))
    seen = true + rng.normal(0, 0.2, (12, 1)) if reference else None
    start = np.cumsum(rng.normal(1.1, 0.02, 12))
    cycles = CycleSet(
        start_s=start,
        end_s=start + rng.normal(1.1, 0.02, 12),
        reason=("",) * 12,
        wearable_deg=wearable,
        reference_deg=seen,
        method="events",
        bout=np.zeros(12, dtype=np.int64),
    )
    return TrialResult(
        participant, session, condition, number, "left", "kalman", "ok",
        cycles=cycles,
        agreement=None if seen is None else compare_curves(wearable, seen),
        variability=Variability(cycle_variability(wearable)),
        strides=stride_summary(cycles),
    )  # fmt: skip


def study(seed=1, k=5, sessions=("1", "2"), numbers=("1", "2"), **of_trial):
    rng = np.random.default_rng(seed)
    return [
        trial(rng, level, f"P{person}", session, number, **of_trial)
        for person, level in enumerate(rng.normal(1, 2, k))
        for session in sessions
        for number in numbers
    ]


def pool(topic, trials):
    return TOPICS[topic](group_trials(trials), OPTIONS)


def values(items):
    return [value for _, value in given(items)]


@pytest.fixture(scope="module")
def full():
    trials = study()
    return trials, pool_topics(trials, replace(OPTIONS, error_ratio=2.0))


def test_every_design_has_its_reliability(full):
    _, found = full
    parts = values(found["reliability"])
    designs = {(item.design, item.instrument) for item in parts}
    assert designs == {
        ("both instruments", "both"),
        ("sessions", "wearable"),
        ("sessions", "reference"),
        ("trials of one session", "wearable"),
        ("trials of one session", "reference"),
    }
    assert all(len(item.intraclass) == 6 for item in parts)
    assert absences(found["reliability"]) == []
    ((_, why),) = absences(found["conditions_adjusted"])
    assert why.reason == "one condition only."


def test_a_detectable_change_is_of_one_instrument_measured_again(full):
    # Weir 2005, J Strength Cond Res 19:231: the SEM is of repeated measurements by one instrument.
    # Between two instruments √2 SEM is the SD of the differences: the limits under another name.
    _, found = full
    for item in values(found["reliability"]):
        between = item.design == "both instruments"
        assert isinstance(item.error, Absent) == between
        assert not between or "limits of agreement" in item.error.reason


def test_test_and_retest_agree_with_pingouin(full):
    trials, found = full
    (item,) = [
        one
        for where, one in given(found["reliability"])
        if (one.design, one.instrument, where.quantity) == ("sessions", "wearable", "mean_deg")
    ]
    means = {
        (t.participant, t.session): np.mean(
            [u.cycles.wearable_deg.mean() for u in trials
             if (u.participant, u.session) == (t.participant, t.session)]
        )
        for t in trials
    }  # fmt: skip
    frame = {
        "person": [key[0] for key in means],
        "session": [key[1] for key in means],
        "value": list(means.values()),
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pingouin's own, of the libraries beneath it
        table = pingouin.intraclass_corr(pd.DataFrame(frame), "person", "session", "value")
    expected = table["ICC"].to_numpy()
    assert_allclose([one.value for one in item.intraclass], expected, rtol=1e-6)


def test_nested_trials_bring_a_mixed_model(full):
    _, found = full
    forms = values(found["forms"])
    assert forms
    assert not any(isinstance(item.mixed, Absent) for item in forms)
    assert forms[0].mixed.n_nested == 20  # five people, two sessions of two trials
    assert "no true zero" in forms[0].ratio.reason


def test_one_session_says_why_there_is_no_retest():
    trials = study(sessions=("1",), numbers=("1",))
    reasons = {one.part: one.reason for _, one in absences(pool("reliability", trials))}
    assert "two or more sessions" in reasons["sessions"]
    assert "two or more trials" in reasons["trials of one session"]
    assert pool("forms", trials)[0].value.mixed.reason.startswith("no participant has")


def test_too_few_people_for_a_line_are_told():
    first = pool("forms", study(k=3, sessions=("1",)))[0].value
    assert first.at_sizes == ()
    assert "3 participants; a line" in first.regression.reason


def test_a_stated_error_ratio_brings_demings_line_over_participants(full):
    trials, found = full
    peaks = next(one.value for one in found["forms"] if one.quantity == "peak_flexion_deg")
    pair = [
        [
            np.mean(
                np.concatenate([getattr(t.cycles, name).max(axis=1) for t in trials
                                if t.participant == person])
            )
            for person in dict.fromkeys(t.participant for t in trials)
        ]
        for name in ("wearable_deg", "reference_deg")
    ]  # fmt: skip
    line = deming_regression(*pair, error_ratio=2.0)
    assert_allclose([peaks.deming.slope, *peaks.deming.slope_ci], [line.slope, *line.slope_ci])
    absent = [isinstance(item.deming, Absent) for item in values(found["forms"])]
    assert absent == [False, False, True]
    # everybody's range is the same in these invented trials
    assert "not correlated" in values(found["forms"])[2].deming.reason


def test_without_the_ratio_there_is_no_line_and_it_says_what_it_needs():
    for item in values(pool("forms", study())):
        assert "error_ratio under [agreement]" in item.deming.reason


def test_limits_at_sizes_are_at_the_participants_own_means(full):
    _, found = full
    assert len(values(found["forms"])) >= 2
    for item in values(found["forms"])[:2]:  # everybody's range is the same
        sizes = np.sort(item.regression.sizes)
        assert_allclose([one.size for one in item.at_sizes], sizes[[0, 2, 4]])
        assert all(one.constant_spread for one in item.at_sizes)  # five people only
        assert_allclose([one.bias for one in item.at_sizes], item.regression.at(sizes[::2])[0])


def test_ten_people_let_the_spread_follow_the_size():
    first = pool("forms", study(k=10, sessions=("1",)))[0].value
    assert not any(one.constant_spread for one in first.at_sizes)
    assert len(first.at_sizes) == 3


def test_without_a_reference_sessions_of_the_wearable_remain():
    trials = study(reference=False)
    assert pool("curves", trials) == ()
    assert pool("forms", trials) == ()
    found = pool("reliability", trials)
    assert {item.instrument for item in values(found)} == {"wearable"}
    ((_, why),) = absences(found)
    assert why.part == "both instruments"
    assert "no recording has a reference" in why.reason


def test_conditions_are_compared_at_equal_speed_and_stride_time():
    indoor = study(seed=1, sessions=("1",), numbers=("1",))
    outdoor = study(seed=2, sessions=("1",), numbers=("1",), condition="outdoor", reference=False)
    speeds = np.random.default_rng(3).normal(1.3, 0.1, 10)
    trials = [
        replace(t, covariates={"speed_m_s": v})
        for t, v in zip(indoor + outdoor, speeds, strict=True)
    ]
    found = values(pool("conditions_adjusted", trials))
    assert [ratio.covariates for ratio in found] == ["speed_m_s", "stride_time_s"]
    assert all(ratio.against == "indoor" for ratio in found)


def test_a_session_that_somebody_missed_counts_those_who_came():
    trials = [t for t in study() if (t.participant, t.session) != ("P0", "2")]
    retest = next(item for item in values(pool("reliability", trials)) if item.design == "sessions")
    assert retest.error.n_participants == 4
