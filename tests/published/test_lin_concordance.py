"""Lin (1989), Biometrics 45:255, and Weir (2005), on the peak flow of Bland & Altman (1986)."""

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.testing import assert_allclose

from twinangle.agreement import concordance, intraclass_correlation, measurement_error

# Bland & Altman (1986), Lancet 327:307, first readings, l/min.
TABLE = Path(__file__).resolve().parents[2] / "reference_data/peak_flow_bland_altman_1986.csv"
LARGE, MINI = pd.read_csv(TABLE)[["large_1", "mini_1"]].to_numpy().T


def test_concordance_and_its_interval():
    # computed from the printed data with Lin's formulas
    result = concordance(LARGE, MINI, small_sample=False)
    assert_allclose(result.value, 0.942742, atol=5e-7)
    assert_allclose(result.value_ci, [0.8505, 0.9787], atol=5e-5)
    assert_allclose(result.precision * result.accuracy, result.value)


def test_intraclass_correlations_and_measurement_error():
    scores = np.column_stack([LARGE, MINI])  # computed from the printed data
    assert_allclose(intraclass_correlation(scores, "ICC(2,1)").value, 0.945928, atol=5e-7)
    assert_allclose(intraclass_correlation(scores, "ICC(3,1)").value, 0.942913, atol=5e-7)
    result = measurement_error(scores)
    assert_allclose(result.sem, 27.411086, atol=5e-7)
    assert_allclose(result.mdc, 75.979655, atol=2e-3)  # there with z = 1.96
