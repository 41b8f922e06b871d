"""Shrout & Fleiss (1979), Psychol Bull 86:420: four judges rate six targets."""

from pathlib import Path

import numpy as np
import pandas as pd
import pingouin
import pytest
from numpy.testing import assert_allclose

from twinangle.agreement import intraclass_correlation, intraclass_correlations

TABLE = Path(__file__).resolve().parents[2] / "reference_data/ratings_shrout_fleiss_1979.csv"
RATINGS = pd.read_csv(TABLE, index_col="target").to_numpy()
# Printed: .17 .29 .71 .44; the last two (.62 .91) from memory of the paper.
PRINTED = [0.17, 0.29, 0.71, 0.44, 0.62, 0.91]
COMPUTED = [0.165742, 0.289764, 0.714841, 0.442797, 0.620051, 0.909316]


def test_six_forms():
    values = [one.value for one in intraclass_correlations(RATINGS)]
    assert_allclose(values, PRINTED, atol=0.005)
    assert_allclose(values, COMPUTED, atol=5e-7)


def test_interval_of_the_two_way_random_single_form():
    # Computed from McGraw & Wong (1996), and printed rounded by pingouin.
    result = intraclass_correlation(RATINGS, "ICC(2,1)")
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
    assert_allclose([one.value_ci for one in ours], bounds, atol=0.0051)  # 2 printed decimals
