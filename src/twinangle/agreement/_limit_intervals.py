"""Intervals of the limits of agreement: which method, from how many people."""

from __future__ import annotations

from typing import Literal

import numpy as np

from twinangle.agreement._components import Components, Estimate
from twinangle.agreement._intervals import (
    exact_limit_factors,
    exact_pair_factors,
    recovered_variance_intervals,
)
from twinangle.agreement._participants import limits_over_participants
from twinangle.agreement._people import FEWEST_PEOPLE, people_notes
from twinangle.agreement._quantiles import half_width, two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval
from twinangle.agreement.limits_found import OWN_INTERVAL

FEWEST_PARTICIPANTS = 4  # for an interval of a limit from several pairs a participant
Form = Literal["participant-means", "pooled-within", "analysis-of-variance"]


def intervals_of_limits(
    parts: Components,
    estimate: Estimate,
    form: Form,
    bias_ci: Interval,
    confidence: float,
    coverage: float,
) -> tuple[Interval, Interval, str, list[str]]:
    """Return the intervals of both limits, their name, and why there are none."""
    if parts.k < FEWEST_PEOPLE:
        notes = people_notes(parts.k, {"bias": parts.means})
        return (
            NO_INTERVAL,
            NO_INTERVAL,
            "none over 2 participants",
            [*notes, "The limits are a rough guess."],
        )
    if parts.k < FEWEST_PARTICIPANTS:
        note = (
            f"{parts.k} participants: the limits have no interval (at least "
            f"{FEWEST_PARTICIPANTS} are needed) and are a rough guess."
        )
        return NO_INTERVAL, NO_INTERVAL, "Student's t for the bias, none for the limits", [note]
    z = half_width(coverage)
    if form == "participant-means":
        how = OWN_INTERVAL
        found = limits_over_participants(parts.means, parts.shrunk_variances, confidence, z)
        lower_ci = (float(found.lower_low), float(found.lower_high))
        return lower_ci, (float(found.upper_low), float(found.upper_high)), how, []
    half = bias_ci[1] - estimate.bias
    pooled = recovered_variance_intervals(parts, estimate, half, confidence, z)
    return *pooled, "recovery of variances (MOVER)", []


def exact_intervals(
    mean: float, sd: float, n: float, confidence: float, coverage: float, pair: bool = False
) -> tuple[Interval, Interval, Interval]:
    """Return the intervals of bias, lower and upper limit from n independent differences."""
    if n < FEWEST_PEOPLE:
        return NO_INTERVAL, NO_INTERVAL, NO_INTERVAL
    half = two_sided_student(confidence, n - 1) * sd / np.sqrt(n)
    factors = exact_pair_factors if pair else exact_limit_factors
    inner, outer = factors(n, confidence=confidence, coverage=coverage)
    return (
        (float(mean - half), float(mean + half)),
        (mean - outer * sd, mean - inner * sd),
        (mean + inner * sd, mean + outer * sd),
    )
