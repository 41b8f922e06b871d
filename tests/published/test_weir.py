"""Weir (2005): a strength test of eight people on two days.

Kinds: from memory (table, SEM, ICC(2,1), ICC(3,1)); second-hand the F of days and ICC(3,k), which
teaching slides on eight people and two days quote without a table: that it is this is inferred.
"""

import numpy as np

from twinangle.agreement import intraclass_correlations, measurement_error

KILOGRAMS = np.array(
    [
        [146, 140], [148, 152], [170, 152], [90, 99],
        [157, 145], [156, 153], [176, 167], [205, 218],
    ],
    dtype=float,
)  # fmt: skip


def test_error_and_correlations_of_test_and_retest(published):
    forms = {one.form: one.value for one in intraclass_correlations(KILOGRAMS)}
    found = measurement_error(KILOGRAMS)
    published("weir-2005", "SEM").check(found.sem)
    for form in ("ICC(2,1)", "ICC(3,1)", "ICC(3,k)"):
        published("weir-2005", form).check(forms[form])
    days = len(KILOGRAMS) * KILOGRAMS.mean(axis=0).var(ddof=1)
    published("weir-2005", "F of days").check(days / found.sem**2)
