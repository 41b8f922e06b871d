"""Giavarina (2015): 30 hypothetical pairs.

Kinds: from memory. The table is the one of pingouin's data sets, which tests may read.
"""

import pingouin

from twinangle.agreement import limits_of_agreement


def test_bias_sd_and_limits(published):
    pairs = pingouin.read_dataset("blandaltman")
    result = limits_of_agreement(pairs["A"] - pairs["B"])

    for name in ("bias", "sd", "lower", "upper"):
        published("giavarina-2015", name).check(getattr(result, name))
