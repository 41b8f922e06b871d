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
    unlinked_limits,
)

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
    return (FLOW["large_1"] - FLOW["mini_1"]).to_numpy(dtype=float)


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
    result = pitman_morgan(FLOW["large_1"], FLOW["mini_1"])
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


def test_cardiac_output_true_value_constant():
    table = shared_table("ba1999-cardiac-output/cardiac_output.csv")
    result = unlinked_limits(
        table["RV"], table["subject"], table["IC"], table["subject"], weighting="measurements"
    )
    # Within-subject variances 0.1072 and 0.1379, SD 1.0519 (1999, 2007); more digits computed.
    assert_allclose(result.test_sd_within**2, 0.1072278, atol=5e-8)
    assert_allclose(result.reference_sd_within**2, 0.1378741, atol=5e-8)
    assert_allclose(result.sd_of_means**2, 0.9126912, atol=5e-8)
    assert_allclose(result.sd, 1.0518506, atol=5e-8)
    assert_allclose([result.lower, result.upper], [-1.4594605, 2.6637939], atol=4e-5)  # z = 1.96


def test_peak_flow_means_of_two_corrected_to_single_measurements():
    # Computed from the 1986 table: repeat SDs, bias of means -6.029412, corrected SD 37.654779.
    long = {
        name: FLOW.melt("participant", [f"{name}_1", f"{name}_2"], value_name="flow")
        for name in ("large", "mini")
    }
    large, mini = long["large"], long["mini"]
    result = unlinked_limits(large["flow"], large["participant"], mini["flow"], mini["participant"])
    assert_allclose(result.bias, -6.029412, atol=5e-7)
    assert_allclose(result.sd_of_means, 33.204137, atol=5e-7)
    assert_allclose(result.sd, 37.654779, atol=5e-7)
    # rms of repeat differences is √2 times the within-participant SD: 21.646899 and 28.158167.
    within = np.array([result.test_sd_within, result.reference_sd_within])
    assert_allclose(within * np.sqrt(2), [21.646899, 28.158167], atol=5e-7)


def test_systolic_pressure_means_of_three_corrected_to_single_measurements():
    table = shared_table("ba1999-sbp/sbp.csv")
    long = {
        name: table.melt("subject", [f"{name}{i}" for i in (1, 2, 3)], value_name="p")
        for name in "JS"
    }
    result = unlinked_limits(
        long["J"]["p"], long["J"]["subject"], long["S"]["p"], long["S"]["subject"]
    )
    # Printed: 37.408, 83.141, -15.62, 20.95, -56.68, 25.44 (1999); more digits computed.
    assert_allclose(result.test_sd_within**2, 37.407843, atol=5e-7)
    assert_allclose(result.reference_sd_within**2, 83.141176, atol=5e-7)
    assert_allclose([result.bias, result.sd], [-15.619608, 20.948949], atol=5e-7)
    assert_allclose([result.lower, result.upper], [-56.6795, 25.4403], atol=1e-3)  # z = 1.96


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
