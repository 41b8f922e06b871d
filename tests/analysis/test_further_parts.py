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
from twinangle.analysis.further import further_parts
from twinangle.cycles.summary import stride_summary
from twinangle.options import Options
from twinangle.results import TrialResult
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
        wearable_variability=cycle_variability(wearable),
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


@pytest.fixture(scope="module")
def full():
    trials = study()
    return trials, further_parts(trials, replace(OPTIONS, error_ratio=2.0))


def test_every_design_has_its_reliability(full):
    _, found = full
    designs = {(item.design, item.instrument) for item in found.reliability}
    assert designs == {
        ("both instruments", "both"),
        ("sessions", "wearable"),
        ("sessions", "reference"),
        ("trials of one session", "wearable"),
        ("trials of one session", "reference"),
    }
    assert all(len(item.intraclass) == 6 for item in found.reliability)
    assert [part for part, _ in found.not_given] == [
        "Detectable change between the instruments",
        "Conditions at equal covariates",
    ]


def test_a_detectable_change_is_of_one_instrument_measured_again(full):
    # Weir 2005, J Strength Cond Res 19:231: the SEM is of repeated measurements by one instrument.
    # Between two instruments √2 SEM is the SD of the differences: the limits under another name.
    _, found = full
    for item in found.reliability:
        assert (item.error is None) == (item.design == "both instruments")
    reason = dict(found.not_given)["Detectable change between the instruments"]
    assert "limits of agreement" in reason


def test_test_and_retest_agree_with_pingouin(full):
    trials, found = full
    (item,) = [
        one
        for one in found.reliability
        if (one.design, one.instrument, one.quantity) == ("sessions", "wearable", "mean_deg")
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
    assert found.forms
    assert all(item.mixed is not None for item in found.forms)
    assert found.forms[0].mixed.n_nested == 20  # five people, two sessions of two trials
    assert [name for name, _ in found.forms[0].not_given] == ["of the ratio"]


def test_one_session_says_why_there_is_no_retest():
    found = further_parts(study(sessions=("1",), numbers=("1",)), OPTIONS)
    reasons = dict(found.not_given)
    assert "two or more sessions" in reasons["Reliability over sessions"]
    assert "two or more trials" in reasons["Reliability over trials of one session"]
    assert dict(found.forms[0].not_given)["by a mixed model"].startswith("no participant has")


def test_too_few_people_for_a_line_are_told():
    found = further_parts(study(k=3, sessions=("1",)), OPTIONS)
    assert found.forms[0].regression is None
    assert found.forms[0].at_sizes == ()
    assert "3 participants; a line" in dict(found.forms[0].not_given)["by regression"]


def test_a_stated_error_ratio_brings_demings_line_over_participants(full):
    trials, found = full
    peaks = next(item for item in found.forms if item.quantity == "peak_flexion_deg")
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
    assert [item.deming is None for item in found.forms] == [False, False, True]
    # everybody's range is the same in these invented trials
    assert "not correlated" in dict(found.forms[2].not_given)["Deming's line"]


def test_without_the_ratio_there_is_no_line_and_it_says_what_it_needs():
    found = further_parts(study(), OPTIONS)
    assert all(item.deming is None for item in found.forms)
    assert "error_ratio under [agreement]" in dict(found.not_given)["Deming's line"]


def test_limits_at_sizes_are_at_the_participants_own_means(full):
    _, found = full
    assert len(found.forms) >= 2
    for item in found.forms[:2]:  # everybody's range is the same
        sizes = np.sort(item.regression.sizes)
        assert_allclose([one.size for one in item.at_sizes], sizes[[0, 2, 4]])
        assert all(one.constant_spread for one in item.at_sizes)  # five people only
        assert_allclose([one.bias for one in item.at_sizes], item.regression.at(sizes[::2])[0])


def test_ten_people_let_the_spread_follow_the_size():
    found = further_parts(study(k=10, sessions=("1",)), OPTIONS)
    assert not any(one.constant_spread for one in found.forms[0].at_sizes)
    assert len(found.forms[0].at_sizes) == 3


def test_without_a_reference_sessions_of_the_wearable_remain():
    found = further_parts(study(reference=False), OPTIONS)
    assert found.curves == ()
    assert found.forms == ()
    assert {item.instrument for item in found.reliability} == {"wearable"}
    assert (
        "no recording has a reference" in dict(found.not_given)["Reliability over both instruments"]
    )


def test_conditions_are_compared_at_equal_speed_and_stride_time():
    indoor = study(seed=1, sessions=("1",), numbers=("1",))
    outdoor = study(seed=2, sessions=("1",), numbers=("1",), condition="outdoor", reference=False)
    speeds = np.random.default_rng(3).normal(1.3, 0.1, 10)
    trials = [
        replace(t, covariates={"speed_m_s": v})
        for t, v in zip(indoor + outdoor, speeds, strict=True)
    ]
    found = further_parts(trials, OPTIONS)
    assert [ratio.covariates for *_, ratio in found.adjusted] == ["speed_m_s", "stride_time_s"]
    assert all(ratio.against == "indoor" for *_, ratio in found.adjusted)


def test_a_session_that_somebody_missed_counts_those_who_came():
    trials = [t for t in study() if (t.participant, t.session) != ("P0", "2")]
    found = further_parts(trials, OPTIONS)
    retest = next(item for item in found.reliability if item.design == "sessions")
    assert retest.error.n_participants == 4
