"""Shrout & Fleiss (1979): four judges rate six targets.

Kinds: second-hand, but ICC(1,1) and ICC(1,k), from memory.
"""

from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd

from twinangle.agreement import intraclass_correlations, three_instrument_errors

TABLE = Path(__file__).resolve().parents[2] / "reference_data/ratings_shrout_fleiss_1979.csv"


def test_six_forms(published):
    found = intraclass_correlations(pd.read_csv(TABLE, index_col="target").to_numpy())
    assert len(found) == 6
    for one in found:
        published("shrout-fleiss-1979", one.form).check(one.value)


def test_mean_over_judges_is_the_residual_mean_square_of_the_published_icc(published):
    """Grubbs' variances of every three of four judges have the residual mean square of the two-way
    analysis as their mean, from which ICC(3,1) follows."""
    table = pd.read_csv(TABLE, index_col="target").to_numpy(float)
    several = [
        [one.variance for one in three_instrument_errors(*table[:, list(three)].T).errors]
        for three in combinations(range(4), 3)
    ]
    residual = np.mean(several)
    between = 4 * table.mean(axis=1).var(ddof=1)
    published("shrout-fleiss-1979", "ICC(3,1)").check(
        (between - residual) / (between + 3 * residual)
    )
