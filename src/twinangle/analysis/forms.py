"""Further forms of the limits, with the checks that point to them."""

from __future__ import annotations

from functools import partial

import numpy as np

from twinangle.agreement.deming import DemingLine, deming_regression
from twinangle.agreement.difference_checks import check_differences
from twinangle.agreement.forms import (
    FEWEST_FOR_A_LINE_OF_SPREAD,
    LimitsAtSize,
    ratio_limits,
    regression_limits,
)
from twinangle.agreement.mixed import mixed_model_limits
from twinangle.agreement.percentiles import percentile_limits
from twinangle.analysis.groups import QUANTITIES, Group, Groups, attempt, pooled
from twinangle.options import Options
from twinangle.results.designs import LimitForms
from twinangle.results.pooled import Absent, Pooled
from twinangle.signals.recording import Array

FEWEST_FOR_A_LINE = 4
_WITH_ZERO = ("range_deg",)  # quantities with a true zero, of which a ratio makes sense
NO_TRUE_ZERO = "an angle has no true zero, so a ratio of angles has no meaning."
NOT_NESTED = "no participant has several sessions, trials or sides to be nested."
NO_ERROR_RATIO = (
    "it needs error_ratio under [agreement], the variance of the wearable's error over that of "
    "the reference's, which has to be known and is not taken from these data."
)
ONE_PARTICIPANT = "one participant; they need several."


def pool(groups: Groups, options: Options) -> tuple[Pooled[LimitForms], ...]:
    """Return the further forms of each quantity's limits, where there are several people."""
    return tuple(
        pooled(
            group,
            quantity,
            partial(_forms, group, quantity, options),
            ONE_PARTICIPANT if len(group.people) == 1 else "",
        )
        for group in groups.compared
        for quantity in QUANTITIES
    )


def _forms(group: Group, quantity: str, options: Options) -> LimitForms:
    """Return the further forms of one quantity's limits."""
    import pandas as pd

    points, confidence = group.cycles[quantity], options.confidence
    people, difference = points.participant, points.difference
    pair = points.wearable, points.reference
    means = pd.DataFrame(np.column_stack(pair)).groupby(people, sort=False).mean().to_numpy()
    wearable, reference = means[:, 0].copy(), means[:, 1].copy()
    few = _too_few(wearable)
    regression = attempt(lambda: regression_limits(wearable, reference, confidence=confidence), few)
    nested = len(set(zip(people, points.unit, strict=True))) > len(group.people)
    return LimitForms(
        checks=check_differences(*pair, people, confidence=confidence),
        regression=regression,
        ratio=attempt(
            lambda: ratio_limits(*pair, people, confidence=confidence),
            "" if quantity in _WITH_ZERO else NO_TRUE_ZERO,
        ),
        percentile=percentile_limits(difference, people, confidence=confidence),
        mixed=attempt(
            lambda: mixed_model_limits(difference, people, points.unit, confidence=confidence),
            "" if nested else NOT_NESTED,
        ),
        deming=_deming(wearable, reference, few, options),
        at_sizes=() if isinstance(regression, Absent) else _at_sizes(wearable, reference, options),
    )


def _too_few(means: Array) -> str:
    """Return why no line is drawn through the participants' means; empty where one is."""
    if means.size >= FEWEST_FOR_A_LINE:
        return ""
    return f"{means.size} participants; a line over participants needs {FEWEST_FOR_A_LINE}."


def _deming(wearable: Array, reference: Array, few: str, options: Options) -> DemingLine | Absent:
    """Return Deming's line through the participants' means, or why there is none."""
    ratio = options.error_ratio
    if ratio is None:
        return Absent(NO_ERROR_RATIO)
    return attempt(
        lambda: deming_regression(
            wearable, reference, error_ratio=ratio, confidence=options.confidence
        ),
        few,
    )


def _at_sizes(wearable: Array, reference: Array, options: Options) -> tuple[LimitsAtSize, ...]:
    """Return bias and limits at the smallest, middle and largest of the participants' means."""
    found = regression_limits(
        wearable,
        reference,
        constant_spread=wearable.size < FEWEST_FOR_A_LINE_OF_SPREAD,
        confidence=options.confidence,
    )
    return found.intervals_at(np.quantile(found.sizes, [0, 0.5, 1]))
