"""Golden values: recomputed beforehand, apart from this code, from published data and formulas.

None of them stands in a paper. Each was computed once, at full precision, by plain code of
another hand from the data named beside it by the formulas of Bland & Altman (1986, 1999, 2007),
Carkeet (2015), Zou (2013; the formula from memory), Lin (1989), Weir (2005) and
McGraw & Wong (1996). What the papers themselves give is in tests/published. The tables of 1999
may not be redistributed (no licence is stated) and are skipped where they are absent.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pingouin
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import (
    concordance,
    intraclass_correlations,
    limits_of_agreement,
    measurement_error,
    mixed_model_limits,
    ratio_limits,
    regression_limits,
)
from twinangle.agreement._intervals import exact_limit_factors, exact_pair_factors

ROOT = Path(__file__).resolve().parents[2]
# Peak expiratory flow of 17 people, l/min, two readings of each meter (1986).
FLOW = pd.read_csv(ROOT / "reference_data/peak_flow_bland_altman_1986.csv")
RATINGS = pd.read_csv(ROOT / "reference_data/ratings_shrout_fleiss_1979.csv", index_col="target")


def table_of_1999(name: str) -> pd.DataFrame:
    path = ROOT / "../shared/data" / name
    if not path.exists():
        pytest.skip(f"the table {path.name} of Bland & Altman (1999) is absent")
    return pd.read_csv(path)


def cardiac_output() -> pd.DataFrame:
    return table_of_1999("ba1999-cardiac-output/cardiac_output.csv")


def pressure() -> pd.DataFrame:
    return table_of_1999("ba1999-sbp/sbp.csv")


def peak_flow() -> np.ndarray:
    return (FLOW["large_1"] - FLOW["mini_1"]).to_numpy(dtype=float)


def test_peak_flow_at_full_precision():
    # With 1.96; the code has the exact quantile.
    result = limits_of_agreement(peak_flow())
    assert_allclose(result.bias, -2.117647, atol=5e-7)
    assert_allclose(result.sd, 38.765130, atol=5e-7)
    assert_allclose([result.lower, result.upper], [-78.0973, 73.8620], atol=2e-3)
    assert_allclose(result.bias_ci, [-22.0488, 17.8135], atol=5e-5)


def test_peak_flow_exact_intervals_of_the_limits():
    result = limits_of_agreement(peak_flow())  # noncentral t quantile
    assert_allclose(result.lower_ci, [-124.1608, -53.0949], atol=5e-5)
    assert_allclose(result.upper_ci, [48.8596, 119.9255], atol=5e-5)


def test_peak_flow_concordance_and_its_interval():
    result = concordance(FLOW["large_1"], FLOW["mini_1"], small_sample=False)
    assert_allclose(result.value, 0.942742, atol=5e-7)
    assert_allclose(result.value_ci, [0.8505, 0.9787], atol=5e-5)
    assert_allclose(result.precision * result.accuracy, result.value)


def test_peak_flow_intraclass_correlations_and_measurement_error():
    scores = FLOW[["large_1", "mini_1"]].to_numpy(dtype=float)
    forms = {one.form: one.value for one in intraclass_correlations(scores)}
    assert_allclose([forms["ICC(2,1)"], forms["ICC(3,1)"]], [0.945928, 0.942913], atol=5e-7)
    result = measurement_error(scores)
    assert_allclose(result.sem, 27.411086, atol=5e-7)
    assert_allclose(result.mdc, 75.979655, atol=2e-3)  # there with z = 1.96


def test_systolic_pressure_exact_intervals_of_the_limits():
    table = pressure()
    result = limits_of_agreement(table["J1"] - table["S1"])
    assert_allclose([result.bias, result.sd], [-16.294118, 19.610993], atol=5e-7)
    assert_allclose(result.lower_ci, [-62.9566, -48.3827], atol=5e-5)  # noncentral t
    assert_allclose(result.upper_ci, [15.7945, 30.3683], atol=5e-5)


def test_cardiac_output_true_value_varying_at_full_precision():
    table = cardiac_output()
    result = limits_of_agreement(
        table["RV"] - table["IC"], table["subject"], form="analysis-of-variance"
    )
    assert (result.n_participants, result.n_observations) == (12, 60)
    assert_allclose(result.bias, 0.6021667, atol=5e-8)
    assert_allclose(result.sd_within**2, 0.170714, atol=5e-7)
    assert_allclose(result.sd_between**2, 0.8106221, atol=5e-8)
    assert_allclose(result.sd, 0.9906241, atol=5e-8)
    assert_allclose([result.lower, result.upper], [-1.3394565, 2.5437899], atol=4e-5)
    assert result.weighting == "all pairs equally"


def test_cardiac_output_bias_weighted_by_participant_is_another_number():
    table = cardiac_output()
    result = limits_of_agreement(table["RV"] - table["IC"], table["subject"])
    assert_allclose(result.bias, 0.7092361, atol=5e-8)
    assert result.weighting == "all participants equally"


def test_cardiac_output_by_recovery_of_variances():
    table = cardiac_output()
    result = limits_of_agreement(table["RV"] - table["IC"], table["subject"], form="pooled-within")
    assert_allclose(result.sd, 1.023525, atol=5e-7)
    assert_allclose([result.lower, result.upper], [-1.29687, 2.71534], atol=4e-5)  # with z = 1.96
    assert_allclose(result.lower_ci, [-2.6905, -0.5109], atol=6e-5)
    assert_allclose(result.upper_ci, [1.9294, 4.1090], atol=6e-5)


def test_cardiac_output_by_restricted_maximum_likelihood():
    # By an independent REML fit; tolerances from the digits it gave.
    table = cardiac_output()
    result = mixed_model_limits(table["RV"] - table["IC"], table["subject"])
    assert_allclose(result.variance_between, 0.872806, atol=2e-6)
    assert_allclose(result.variance_within, 0.170802, atol=2e-6)
    assert_allclose([result.bias, result.bias_se], [0.704521, 0.275159], atol=1e-5)
    assert_allclose([result.lower, result.upper], [-1.297759, 2.706801], atol=1e-4)


def test_fat_in_milk_at_full_precision():
    table = table_of_1999("ba1999-log-and-regression/milk_fat.csv")
    result = regression_limits(table["trig"], table["gerber"], constant_spread=True)
    assert_allclose(result.intercept, 0.0790402, atol=5e-8)
    assert_allclose(result.slope, -0.0282710, atol=5e-8)
    assert_allclose(result.residual_sd, 0.0803304, atol=5e-8)
    bias, lower, upper = result.at(3.0)
    assert_allclose(upper - bias, 1.96 * 0.0803304, atol=1e-5)
    assert_allclose(bias - lower, upper - bias)


def test_plasma_volume_at_full_precision():
    table = table_of_1999("ba1999-log-and-regression/plasma_volume.csv")
    result = ratio_limits(table["nadler"], table["hurley"])
    assert_allclose(
        [result.ratio, result.lower, result.upper], [1.103956, 1.057985, 1.151924], atol=3e-6
    )


# SDs from the mean to the exact 95 % bounds of a 95 % limit, by Carkeet's formula.
@pytest.mark.parametrize(
    ("n", "inner", "outer"),
    [
        (5, 0.9232, 5.9749),
        (10, 1.1632, 3.8009),
        (20, 1.3565, 3.0140),
        (50, 1.5507, 2.5355),
        (100, 1.6591, 2.3419),
    ],
)
def test_factors_of_one_limit(n, inner, outer):
    assert_allclose(exact_limit_factors(n), [inner, outer], atol=5e-5)
    root = np.sqrt(n)
    by_scipy = stats.nct.ppf([0.025, 0.975], n - 1, stats.norm.ppf(0.975) * root) / root
    assert_allclose(exact_limit_factors(n), by_scipy, rtol=1e-6)


@pytest.mark.parametrize("n", [5, 17])
def test_pair_factors_hold_both_limits_in_simulation(n):
    rng = np.random.default_rng(1)
    mean = rng.standard_normal(200_000) / np.sqrt(n)
    sd = np.sqrt(rng.chisquare(n - 1, mean.size) / (n - 1))
    inner, outer = exact_pair_factors(n)
    z = stats.norm.ppf(0.975)
    inside = (mean - outer * sd < -z) & (mean + outer * sd > z)
    outside = (mean - inner * sd > -z) & (mean + inner * sd < z)
    assert_allclose([inside.mean(), outside.mean()], 0.975, atol=0.0015)  # 4 standard errors


def test_six_intraclass_correlations_of_the_ratings():
    values = [one.value for one in intraclass_correlations(RATINGS.to_numpy())]
    expected = [0.165742, 0.289764, 0.714841, 0.442797, 0.620051, 0.909316]
    assert_allclose(values, expected, atol=5e-7)


def test_interval_of_the_two_way_random_single_form():
    # By McGraw & Wong (1996); pingouin gives the same, rounded.
    every = intraclass_correlations(RATINGS.to_numpy())
    result = next(one for one in every if one.form == "ICC(2,1)")
    assert_allclose(result.value_ci, [0.0188, 0.7611], atol=5e-5)


# pingouin itself calls what pandas has deprecated.
@pytest.mark.filterwarnings("ignore:The inplace keyword:DeprecationWarning")
@pytest.mark.parametrize("seed", range(4))
def test_pingouin_agrees_on_random_scores(seed):
    rng = np.random.default_rng(seed)
    scores = rng.standard_normal((9, 1)) + 0.7 * rng.standard_normal((9, 3))
    long = pd.DataFrame(scores).melt(ignore_index=False).reset_index()
    table = pingouin.intraclass_corr(long, targets="index", raters="variable", ratings="value")
    ours = intraclass_correlations(scores)
    assert_allclose([one.value for one in ours], table["ICC"])
    bounds = np.stack(table.filter(like="CI").iloc[:, 0].to_list())
    assert_allclose([one.value_ci for one in ours], bounds, atol=0.0051)  # 2 decimals there
