"""Bland & Altman (1986), (1999) and (2007): the examples of the limits of agreement.

Kinds: second-hand, but the interval of the 1986 bias and the 1999 line (milk), from memory. The
tables of 1999 and 2007 may not be redistributed (no licence is stated) and are skipped where they
are absent.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.agreement import (
    limits_of_agreement,
    ratio_limits,
    regression_limits,
)

ROOT = Path(__file__).resolve().parents[2]
Z = 1.959964  # ours; the papers take 1.96


def table(name: str) -> pd.DataFrame:
    path = ROOT / "../shared/data" / name
    if not path.exists():
        pytest.skip(f"the table {path.name} of Bland & Altman (1999) is absent")
    return pd.read_csv(path)


def test_peak_flow_of_1986(published):
    flow = pd.read_csv(ROOT / "reference_data/peak_flow_bland_altman_1986.csv")
    result = limits_of_agreement(flow["large_1"] - flow["mini_1"])

    published("bland-altman-1986", "bias").check(result.bias)
    published("bland-altman-1986", "sd").check(result.sd)
    # The paper doubles the rounded SD and adds the rounded bias: 2 × 0.05 + 0.05 at most.
    for name, sign in (("lower at 2 SD", -1), ("upper at 2 SD", 1)):
        known = published("bland-altman-1986", name)
        known.check(result.bias + sign * 2 * result.sd, slack=0.15)
    for name, ours in zip(("lower", "upper"), result.bias_ci, strict=True):
        published("bland-altman-1986", f"bias interval {name}").check(ours)


def test_systolic_pressure_of_1999(published):
    pressure = table("ba1999-sbp/sbp.csv")
    result = limits_of_agreement(pressure["J1"] - pressure["S1"])

    def known(name):
        return published("bland-altman-1999", f"pressure {name}")

    known("bias").check(result.bias)
    known("sd").check(result.sd)
    known("lower").check(result.lower)
    known("upper").check(result.upper)
    known("bias interval lower").check(result.bias_ci[0])
    known("bias interval upper").check(result.bias_ci[1])


def test_fat_in_milk_limits_that_follow_the_size(published):
    milk = table("ba1999-log-and-regression/milk_fat.csv")
    result = regression_limits(milk["trig"], milk["gerber"], constant_spread=True)

    published("bland-altman-1999", "milk intercept").check(result.intercept)
    published("bland-altman-1999", "milk slope").check(result.slope)
    published("bland-altman-1999", "milk residual sd").check(result.residual_sd)


def test_plasma_volume_ratio_limits(published):
    plasma = table("ba1999-log-and-regression/plasma_volume.csv")
    result = ratio_limits(plasma["nadler"], plasma["hurley"])

    published("bland-altman-1999", "plasma log bias").check(np.log(result.ratio))
    published("bland-altman-1999", "plasma lower ratio").check(result.lower)
    published("bland-altman-1999", "plasma upper ratio").check(result.upper)


def test_cardiac_output_true_value_varying(published):
    output = table("ba1999-cardiac-output/cardiac_output.csv")
    result = limits_of_agreement(
        output["RV"] - output["IC"], output["subject"], form="analysis-of-variance"
    )

    # In the eighth digit as the root of a variance rounded to the seventh.
    published("bland-altman-2007", "cardiac sd").check(result.sd, slack=5e-8)
    published("bland-altman-2007", "cardiac bias").check(result.bias)
    for name, ours in (("lower", result.lower), ("upper", result.upper)):
        known = published("bland-altman-2007", f"cardiac {name}")
        known.check(ours, slack=(1.96 - Z) * result.sd)
