"""Bland & Altman, Lancet 1986;327:307, Stat Methods Med Res 1999;8:135, J Biopharm Stat 2007."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from twinangle.agreement import (
    limits_of_agreement,
    mixed_model_limits,
    pitman_morgan,
    ratio_limits,
    regression_limits,
    share_within,
)
from twinangle.agreement._components import variance_components

SHARED = Path(__file__).resolve().parents[2] / "../shared/data"

# 1986, the table of 17 people: peak expiratory flow, l/min, two readings of each meter.
FLOW = pd.read_csv(
    Path(__file__).resolve().parents[2] / "reference_data/peak_flow_bland_altman_1986.csv"
)


def shared_table(name: str) -> pd.DataFrame:
    path = SHARED / name
    if not path.exists():
        pytest.skip(f"../shared/data/{name} is absent")
    return pd.read_csv(path)


def peak_flow() -> np.ndarray:
    return (FLOW["wright_1"] - FLOW["mini_1"]).to_numpy(dtype=float)


def test_peak_flow_bias_and_sd_as_printed_in_1986():
    result = limits_of_agreement(peak_flow())
    assert_allclose([result.bias, result.sd], [-2.1, 38.8], atol=0.05)
    # The paper doubles the rounded SD, which moves its limits by up to 0.1 l/min.
    assert_allclose(result.bias - 2 * result.sd, -79.7, atol=0.1)
    assert_allclose(result.bias + 2 * result.sd, 75.5, atol=0.1)


def test_peak_flow_at_full_precision():
    # Computed from the printed table; the limits there use 1.96, ours the exact quantile.
    result = limits_of_agreement(peak_flow())
    assert_allclose(result.bias, -2.117647, atol=5e-7)
    assert_allclose(result.sd, 38.765130, atol=5e-7)
    assert_allclose([result.lower, result.upper], [-78.0973, 73.8620], atol=2e-3)
    assert_allclose(result.bias_ci, [-22.0488, 17.8135], atol=5e-5)


def test_peak_flow_exact_intervals_of_the_limits():
    # Computed from the printed table with the noncentral t quantile.
    result = limits_of_agreement(peak_flow())
    assert_allclose(result.lower_ci, [-124.1608, -53.0949], atol=5e-5)
    assert_allclose(result.upper_ci, [48.8596, 119.9255], atol=5e-5)


def test_peak_flow_pitman_morgan():
    # Computed from the printed table: t 0.325231 on 15 df, p 0.749499.
    result = pitman_morgan(FLOW["wright_1"], FLOW["mini_1"])
    assert_allclose([result.statistic, result.p_value], [0.325231, 0.749499], atol=5e-7)
    assert result.df == 15


def test_systolic_pressure_of_1999():
    table = shared_table("ba1999-sbp/sbp.csv")
    result = limits_of_agreement(table["J1"] - table["S1"])
    # Printed: -16.29, 19.61, limits -54.7 and 22.1, interval of the mean -20.5 to -12.1.
    assert_allclose([result.bias, result.sd], [-16.29, 19.61], atol=0.005)
    assert_allclose([result.lower, result.upper], [-54.7, 22.1], atol=0.05)
    assert_allclose(result.bias_ci, [-20.5, -12.1], atol=0.05)
    assert_allclose(result.lower_ci, [-62.9566, -48.3827], atol=5e-5)  # computed, noncentral t
    assert_allclose(result.upper_ci, [15.7945, 30.3683], atol=5e-5)


def test_cardiac_output_true_value_varying():
    # 1999/2007; figures printed there agree with these, computed at full precision from the data.
    table = shared_table("ba1999-cardiac-output/cardiac_output.csv")
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
    table = shared_table("ba1999-cardiac-output/cardiac_output.csv")
    result = limits_of_agreement(table["RV"] - table["IC"], table["subject"])
    assert_allclose(result.bias, 0.7092361, atol=5e-8)
    assert result.weighting == "all participants equally"


def pooled_within(values: pd.Series, who: pd.Series) -> float:
    return variance_components(values.to_numpy(dtype=float), who).mean_squares[1]


def test_cardiac_output_variances_of_each_instrument():
    table = shared_table("ba1999-cardiac-output/cardiac_output.csv")
    # Within-subject variances 0.1072 and 0.1379 (1999, 2007); more digits computed.
    found = [pooled_within(table[name], table["subject"]) for name in ("RV", "IC")]
    assert_allclose(found, [0.1072278, 0.1378741], atol=5e-8)
    difference = (table["RV"] - table["IC"]).to_numpy()
    spread = variance_components(difference, table["subject"]).spread_of_means
    assert_allclose(spread, 0.9126912, atol=5e-8)


def test_systolic_pressure_variances_within_subjects():
    table = shared_table("ba1999-sbp/sbp.csv")
    for name, expected in (("J", 37.407843), ("S", 83.141176)):  # printed 37.408, 83.141 (1999)
        long = table.melt("subject", [f"{name}{i}" for i in (1, 2, 3)], value_name="p")
        assert_allclose(pooled_within(long["p"], long["subject"]), expected, atol=5e-7)


def test_peak_flow_repeat_sds():
    # rms of repeat differences, computed from the 1986 table: √2 times the SD within.
    for name, expected in (("wright", 21.646899), ("mini", 28.158167)):
        long = FLOW.melt("participant", [f"{name}_1", f"{name}_2"], value_name="flow")
        within = pooled_within(long["flow"], long["participant"])
        assert_allclose(np.sqrt(2 * within), expected, atol=5e-7)


def test_fat_in_milk_limits_that_follow_the_size():
    table = shared_table("ba1999-log-and-regression/milk_fat.csv")
    result = regression_limits(table["trig"], table["gerber"], constant_spread=True)
    assert_allclose([result.intercept, result.slope], [0.079, -0.0283], atol=5e-5)  # printed 1999
    assert_allclose(result.intercept, 0.0790402, atol=5e-8)
    assert_allclose(result.slope, -0.0282710, atol=5e-8)
    assert_allclose(result.residual_sd, 0.0803304, atol=5e-8)
    bias, lower, upper = result.at(3.0)
    assert_allclose(upper - bias, 1.96 * 0.0803304, atol=1e-5)
    assert_allclose(bias - lower, upper - bias)


def test_plasma_volume_ratio_limits():
    table = shared_table("ba1999-log-and-regression/plasma_volume.csv")
    result = ratio_limits(table["nadler"], table["hurley"])
    assert_allclose([result.ratio, result.lower, result.upper], [1.10, 1.06, 1.15], atol=0.005)
    assert_allclose(
        [result.ratio, result.lower, result.upper], [1.103956, 1.057985, 1.151924], atol=3e-6
    )


@pytest.mark.parametrize(("margin", "within"), [(10, 31), (20, 63)])
def test_systolic_pressure_differences_within_a_margin(margin, within):
    table = shared_table("ba1999-sbp/sbp.csv")
    result = share_within(table["J1"] - table["S1"], margin)
    assert (result.n_within, result.n_observations) == (within, 85)


def test_cardiac_output_by_restricted_maximum_likelihood():
    # Computed with an independent REML fit; tolerances from its printed digits.
    table = shared_table("ba1999-cardiac-output/cardiac_output.csv")
    result = mixed_model_limits(table["RV"] - table["IC"], table["subject"])
    assert_allclose(result.variance_between, 0.872806, atol=2e-6)
    assert_allclose(result.variance_within, 0.170802, atol=2e-6)
    assert_allclose([result.bias, result.bias_se], [0.704521, 0.275159], atol=1e-5)
    assert_allclose([result.lower, result.upper], [-1.297759, 2.706801], atol=1e-4)
