"""Shrout & Fleiss (1979): four judges rate six targets.

Kinds: second-hand, but ICC(1,1) and ICC(1,k), from memory.
"""

from pathlib import Path

import pandas as pd

from twinangle.agreement import intraclass_correlations

TABLE = Path(__file__).resolve().parents[2] / "reference_data/ratings_shrout_fleiss_1979.csv"


def test_six_forms(published):
    found = intraclass_correlations(pd.read_csv(TABLE, index_col="target").to_numpy())
    assert len(found) == 6
    for one in found:
        published("shrout-fleiss-1979", one.form).check(one.value)
