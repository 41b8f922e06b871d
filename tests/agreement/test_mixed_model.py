"""The mixed model's fit against statsmodels, and its intervals against exact ones."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams, VCSpec

from twinangle.agreement import limits_of_agreement, mixed_model_limits
from twinangle.agreement._generalised import VariancePart, generalised_limits
from twinangle.agreement._intervals import exact_limit_factors
from twinangle.agreement._quantiles import half_width
from twinangle.agreement._reml import deviance_and_slope, fit_reml, nested_sums

SPREADS = [(2.0, 1.0, 1.0), (0.3, 0.3, 1.5), (1.0, 0.0, 1.0), (0.0, 2.0, 0.5), (0.0, 0.0, 1.0)]
seeds = st.integers(0, 2**32 - 1)


def unbalanced(seed: int, spread: tuple[float, float, float], k: int = 7):
    """Return differences, participants and units: 1 to 3 units each, 2 to 9 differences each."""
    rng = np.random.default_rng(seed)
    units = np.array([2, *rng.integers(1, 4, k - 1)])
    owner = np.repeat(np.arange(k), units)
    unit = np.repeat(np.arange(owner.size), rng.integers(2, 10, owner.size))
    sizes = (k, owner.size, unit.size)
    a, b, e = (s * rng.standard_normal(n) for s, n in zip(spread, sizes, strict=True))
    return a[owner[unit]] + b[unit] + e, owner[unit], unit


def nested_model(values: np.ndarray, people: np.ndarray, units: np.ndarray) -> MixedLM:
    """Return the model of statsmodels with participants and units within them."""
    columns, names = [], []
    for code in np.unique(people):
        labels, own = np.unique(units[people == code], return_inverse=True)
        columns.append(np.eye(labels.size)[own])
        names.append([str(label) for label in labels])
    ones = np.ones((values.size, 1))
    nested = VCSpec(["unit"], [names], [columns])
    return MixedLM(values, ones, groups=people, exog_re=ones, exog_vc=nested)


@given(seeds, st.floats(0.01, 20), st.floats(0.01, 20))
@settings(max_examples=20)
def test_closed_form_is_the_likelihood_of_statsmodels(seed, between, nested):
    values, people, units = unbalanced(seed, (1.0, 1.0, 1.0))
    sums = nested_sums(values, people, units)
    model = nested_model(values, people, units)
    model.reml, model.cov_pen, model.fe_pen = True, None, None
    point = MixedLMParams.from_components(
        fe_params=np.zeros(1), cov_re=np.array([[between]]), vcomp=np.array([nested])
    )
    ratios = np.array([between, nested])
    deviance, slope = deviance_and_slope(sums, ratios)
    assert_allclose(deviance, -2 * model.loglike(point), rtol=1e-9)
    steps = 1e-5 * ratios[:, None] * np.eye(2)
    ends = [[deviance_and_slope(sums, ratios + s * d)[0] for s in (-1, 1)] for d in steps]
    assert_allclose(slope, np.diff(ends)[:, 0] / (2e-5 * ratios), rtol=1e-4, atol=1e-5)


@pytest.mark.parametrize("spread", SPREADS)
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.filterwarnings("ignore")
def test_fit_is_that_of_statsmodels_or_better(seed, spread):
    # statsmodels by its own search from its own start; variances at 0 included.
    values, people, units = unbalanced(seed, spread)
    ours = fit_reml(nested_sums(values, people, units))
    try:
        fit = nested_model(values, people, units).fit(reml=True, method="powell", ftol=1e-14)
    except np.linalg.LinAlgError:  # at a variance of 0 it may break off
        assert min(ours.between, ours.nested) == 0
        return
    assert -ours.deviance / 2 >= fit.llf - 1e-7
    if -ours.deviance / 2 - fit.llf < 1e-6:
        theirs = [fit.cov_re[0, 0], fit.vcomp[0], fit.scale, fit.fe_params[0]]
        scale = float(values.var())
        found = [ours.between, ours.nested, ours.within, ours.bias]
        assert_allclose(found, theirs, rtol=1e-3, atol=1e-4 * scale)


@pytest.mark.parametrize("seed", range(3))
def test_nested_balanced_fit_is_the_analysis_of_variance(seed):
    # Searle, Casella & McCulloch (1992): REML of balanced data, all estimates above 0.
    rng = np.random.default_rng(seed)
    k, b, n = 8, 3, 5
    x = 3 * rng.standard_normal((k, 1, 1)) + 2 * rng.standard_normal((k, b, 1))
    x = x + rng.standard_normal((k, b, n))
    cells = x.mean(axis=2)
    within = x.var(axis=2, ddof=1).mean()
    units = n * cells.var(axis=1, ddof=1).mean()
    people = b * n * cells.mean(axis=1).var(ddof=1)
    assert people > units > within
    who = np.repeat(np.arange(k), b * n)
    result = mixed_model_limits(x.ravel(), who, np.tile(np.repeat(np.arange(b), n), k))
    assert_allclose(result.variance_within, within, rtol=1e-5)
    assert_allclose(result.variance_nested, (units - within) / n, rtol=1e-5)
    assert_allclose(result.variance_between, (people - units) / (b * n), rtol=1e-5)
    means = limits_of_agreement(cells.mean(axis=1))
    assert_allclose(result.bias_ci, means.bias_ci)


@pytest.mark.parametrize("k", [4, 6, 20])
def test_limits_are_exact_where_only_people_differ(k):
    found = generalised_limits(
        1.0, VariancePart(4.0, k - 1), (), 0.0, k, confidence=0.95, z=half_width(0.95)
    )
    inner, outer = exact_limit_factors(k)
    assert_allclose(found, [(1 - 2 * outer, 1 - 2 * inner), (1 + 2 * inner, 1 + 2 * outer)], 1e-4)


def test_generalised_limits_are_the_quantiles_of_their_pivot():
    # 400 000 draws: three standard errors of a share of 0.025 are 0.0007.
    rng, k, n = np.random.default_rng(1), 6, 400_000
    parts = (VariancePart(2.0, 6), VariancePart(1.0, 100))
    _, upper = generalised_limits(
        0.0, VariancePart(0.5, k - 1), parts, 0.2, k, confidence=0.95, z=1.96
    )
    means = 0.5 * (k - 1) / rng.chisquare(k - 1, n)
    rest = sum(part.estimate * part.df / rng.chisquare(part.df, n) for part in parts)
    rest = rest * np.exp(0.2 * rng.standard_t(k - 1, n))
    pivot = rng.standard_normal(n) * np.sqrt(means / k) + 1.96 * np.sqrt(means + rest)
    assert_allclose([np.mean(pivot < bound) for bound in upper], [0.025, 0.975], atol=0.0008)


@given(seeds, st.floats(-50, 50), st.floats(0.01, 100))
@settings(max_examples=15, deadline=None)
def test_shift_and_scale_carry_over(seed, shift, scale):
    values, people, units = unbalanced(seed, (1.0, 1.0, 1.0))
    before = mixed_model_limits(values, people, units)
    after = mixed_model_limits(shift + scale * values, people, units)
    for name in ("bias_ci", "lower_ci", "upper_ci"):
        expected = shift + scale * np.array(getattr(before, name))
        assert_allclose(getattr(after, name), expected, rtol=1e-3, atol=1e-3 * scale)


def test_a_variance_of_zero_is_said():
    values, people, units = unbalanced(1, (0.0, 2.0, 0.5))
    values = values - np.bincount(people, values)[people] / np.bincount(people)[people]
    result = mixed_model_limits(values, people, units)
    assert result.variance_between == 0
    assert "The variance between participants is estimated as 0." in result.notes


@pytest.mark.parametrize(
    ("nested", "values", "message"),
    [
        ([0, 0, 0, 0], [1, 2, 3, 5], "a nested level needs a participant with 2 units"),
        ([0, 1, 0, 1], [1, 2, 3, 5], "a unit with 2 differences"),
        (None, [1, 1, 3, 3], "vary within somebody"),
    ],
)
def test_levels_that_cannot_be_told_apart_are_refused(nested, values, message):
    with pytest.raises(ValueError, match=message):
        mixed_model_limits(values, [0, 0, 1, 1], nested)
