import numpy as np
import pingouin
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import limits_of_agreement, within_participant_limits

seeds = st.integers(0, 2**32 - 1)
FORMS = ["participant-means", "pooled-within", "analysis-of-variance"]
NUMBERS = ("bias", "sd", "lower", "upper", "bias_ci", "lower_ci", "upper_ci")


def study(seed: int, k: int = 8, between: float = 2.0, within: float = 1.0):
    rng = np.random.default_rng(seed)
    counts = rng.integers(3, 12, k)
    people = np.repeat(np.arange(k), counts)
    return 1 + between * rng.standard_normal(k)[people] + within * rng.standard_normal(
        people.size
    ), people


def numbers(result) -> np.ndarray:
    return np.hstack([getattr(result, name) for name in NUMBERS])


@pytest.mark.parametrize("form", FORMS)
@given(seed=seeds)
def test_swapping_mirrors_everything(form, seed):
    x, people = study(seed)
    there, back = (limits_of_agreement(s * x, people, form=form) for s in (1, -1))
    assert_allclose(there.lower, -back.upper)
    assert_allclose(there.lower_ci, [-back.upper_ci[1], -back.upper_ci[0]], rtol=1e-7)
    assert_allclose(there.bias_ci, [-back.bias_ci[1], -back.bias_ci[0]])


@pytest.mark.parametrize("form", FORMS)
@given(seed=seeds, shift=st.floats(-100, 100), scale=st.floats(0.1, 10))
def test_shift_and_scale_carry_over(form, seed, shift, scale):
    x, people = study(seed)
    before = limits_of_agreement(x, people, form=form)
    after = limits_of_agreement(scale * x + shift, people, form=form)
    assert_allclose(after.sd, scale * before.sd, rtol=1e-7)
    for name in ("bias", "lower", "upper", "bias_ci", "lower_ci", "upper_ci"):
        expected = scale * np.array(getattr(before, name)) + shift
        assert_allclose(getattr(after, name), expected, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("form", FORMS)
@given(seed=seeds)
def test_order_and_names_of_participants_are_irrelevant(form, seed):
    x, people = study(seed)
    order = np.random.default_rng(seed).permutation(x.size)
    names = np.array([f"P{9 - i}" for i in range(9)])
    mixed = limits_of_agreement(x[order], names[people][order], form=form)
    assert_allclose(numbers(mixed), numbers(limits_of_agreement(x, people, form=form)), atol=1e-9)


@given(seed=seeds, copies=st.integers(2, 10))
def test_copying_every_cycle_shrinks_no_interval(seed, copies):
    x, people = study(seed)
    once = limits_of_agreement(x, people)
    more = limits_of_agreement(np.tile(x, copies), np.tile(people, copies))
    assert_allclose(numbers(more), numbers(once), atol=1e-9)


@given(seed=seeds, copies=st.integers(1, 10))
def test_copying_one_participants_cycles_changes_nothing(seed, copies):
    x, people = study(seed)
    extra = people == 0
    more = limits_of_agreement(
        np.hstack([x] + [x[extra]] * copies), np.hstack([people] + [people[extra]] * copies)
    )
    assert_allclose(numbers(more), numbers(limits_of_agreement(x, people)), atol=1e-9)


@given(seed=seeds)
def test_one_pair_each_agrees_with_statsmodels_and_pingouin(seed):
    rng = np.random.default_rng(seed)
    x, y = rng.standard_normal((2, 14))
    result = limits_of_agreement(x - y)
    described = sm.stats.DescrStatsW(x - y)
    assert_allclose(result.bias_ci, described.tconfint_mean(0.05))
    assert_allclose(result.sd, np.sqrt(described.var * 14 / 13))
    test = pingouin.ttest(x, y, paired=True)
    low, high = test.iloc[0].filter(like="CI").item()
    assert_allclose(result.bias_ci, [low, high], atol=0.006)  # pingouin rounds to 2 decimals


def test_one_way_components_agree_with_statsmodels_anova():
    x, people = study(11)
    design = sm.add_constant(np.eye(8)[people][:, 1:])
    within = sm.OLS(x, design).fit().mse_resid
    result = limits_of_agreement(x, people, form="analysis-of-variance")
    assert_allclose(result.sd_within**2, within)


def test_one_pair_each_is_the_same_with_or_without_names():
    x = np.random.default_rng(1).standard_normal(9)
    assert_allclose(numbers(limits_of_agreement(x)), numbers(limits_of_agreement(x, range(9))))
    assert limits_of_agreement(x).n_participants == 9


def test_interval_for_both_limits_is_wider_outside_and_inside():
    x = np.random.default_rng(1).standard_normal(9)
    alone, pair = limits_of_agreement(x), limits_of_agreement(x, pair=True)
    assert pair.upper_ci[0] < alone.upper_ci[0] < alone.upper_ci[1] < pair.upper_ci[1]


def test_one_participant_is_said_to_be_one():
    x = np.random.default_rng(1).standard_normal(30)
    result = limits_of_agreement(x, ["P1"] * 30)
    assert result.method == "within participant"
    assert result.why == "there is one participant only"
    assert limits_of_agreement(x).why == "every participant has one pair"
    assert "several pairs each" in limits_of_agreement(x, ["P1", "P2", "P3"] * 10).why
    assert result.n_participants == 1
    assert np.isnan(result.sd_between)
    assert result.sd_within == result.sd
    assert "One participant" in result.notes[0]
    assert "within-participant limits" in result.summary("°")
    assert_allclose(numbers(result), numbers(within_participant_limits(x)))


@pytest.mark.parametrize("k", [2, 3])
def test_two_or_three_participants_have_no_interval_of_the_limits(k):
    x, people = study(2, k=k)
    result = limits_of_agreement(x, people)
    assert np.isnan(result.lower_ci).all()
    means = np.array([x[people == person].mean() for person in range(k)])
    if k == 2:  # Student's t on one degree of freedom is no interval worth giving
        assert np.isnan(result.bias_ci).all()
    else:
        expected = stats.t.interval(0.95, k - 1, means.mean(), stats.sem(means))
        assert_allclose(result.bias_ci, expected)
    assert_allclose(result.upper - result.lower, 2 * stats.norm.ppf(0.975) * result.sd)
    assert f"{k} participants" in result.notes[0]
    assert "no interval" in result.summary()


def test_some_participants_with_one_cycle_only():
    x, people = study(4)
    keep = (people != 0) | (np.arange(x.size) == 0)
    result = limits_of_agreement(x[keep], people[keep])
    assert_allclose(result.sd**2, result.sd_between**2 + result.sd_within**2)
    assert result.bias_ci[0] < result.bias < result.bias_ci[1]
    assert result.lower_ci[0] < result.lower < result.lower_ci[1] < result.bias
    assert result.n_observations == keep.sum()


def test_no_variance_between_participants_is_said():
    x = np.tile([-1.0, 1.0], 10) + np.repeat(np.linspace(0, 1e-3, 5), 4)
    result = limits_of_agreement(x, np.repeat(np.arange(5), 4))
    assert result.sd_between == 0
    assert any("estimated as 0" in text for text in result.notes)


def test_equal_differences_have_no_spread_and_say_so():
    result = limits_of_agreement([2.0] * 6)
    assert (result.lower, result.upper) == (2, 2)
    assert any("equal" in text for text in result.notes)
    repeated = limits_of_agreement([2.0] * 12, [0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5])
    assert repeated.upper_ci == (2, 2)


def test_skewed_differences_are_warned_of():
    result = limits_of_agreement(np.random.default_rng(1).exponential(size=40))
    assert result.skewness > 1
    assert any("further from normal" in text for text in result.notes)


@pytest.mark.parametrize(
    ("between", "within"), [(2.0, 0.5), (1.0, 1.0), (0.5, 2.0)], ids=["between", "equal", "within"]
)
def test_intervals_cover_the_true_limits_of_six_participants(between, within):
    # 600 studies; 3 Monte Carlo standard errors at 95 % are 2.7 points.
    rng = np.random.default_rng(8)
    truth = 1.959964 * np.hypot(between, within)
    hits = np.zeros(3)
    for seed in rng.integers(0, 2**32, 600):
        result = limits_of_agreement(*study(int(seed), k=6, between=between, within=within))
        hits += [
            result.lower_ci[0] <= 1 - truth <= result.lower_ci[1],
            result.upper_ci[0] <= 1 + truth <= result.upper_ci[1],
            result.bias_ci[0] <= 1 <= result.bias_ci[1],
        ]
    assert (hits / 600 > 0.92).all()
    assert (hits[2] / 600 < 0.978).all()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([1.0],), "at least 2 row"),
        (([1.0, np.nan],), "first at index 1"),
        (([1.0, np.inf],), "infinite"),
        (([1.0, 2.0], [1]), "2 values and `participant` 1"),
        (([1.0, 2.0], [1, None]), "missing at index 1"),
    ],
)
def test_bad_differences_are_named(arguments, message):
    with pytest.raises(ValueError, match=message):
        limits_of_agreement(*arguments)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"confidence": 95}, "`confidence` must lie between 0 and 1"),
        ({"coverage": 1.0}, "`coverage`"),
        ({"form": "pooled"}, "`form` must be one of participant-means"),
        ({"pair": True}, "one pair a participant only"),
    ],
)
def test_bad_options_are_named(options, message):
    with pytest.raises(ValueError, match=message):
        limits_of_agreement([1.0, 2, 3, 4, 6, 8], [1, 1, 2, 2, 3, 3], **options)


def test_cycles_that_resemble_their_neighbours_leave_the_limits_right():
    # An identity of the moments, for any stationary correlation: E s² = σ² (1 - v) n/(n - 1) and
    # var(d) = between + σ² v, v the variance of a mean over σ²; (1 - 1/n) s² + var(d) keeps σ².
    k, n, rho, studies = 12, 20, 0.7, 300
    rng = np.random.default_rng(12)
    noise = rng.standard_normal((studies, k, n))
    for j in range(1, n):
        noise[..., j] = rho * noise[..., j - 1] + np.sqrt(1 - rho**2) * noise[..., j]
    values = 0.8 * rng.standard_normal((studies, k, 1)) + noise
    names = np.repeat([f"P{i}" for i in range(k)], n)
    found = [limits_of_agreement(one.ravel(), names) for one in values]
    squares = np.array([one.sd**2 for one in found])
    assert abs(squares.mean() - 1.64) < 4 * squares.std() / np.sqrt(studies)
    held = [one.upper_ci[0] <= 1.959964 * np.sqrt(1.64) <= one.upper_ci[1] for one in found]
    assert np.mean(held) > 0.92
    assert not any("ycles of a participant are independent" in a for a in found[0].assumptions)
    assert any("resemble their neighbours" in a for a in found[0].assumptions)
