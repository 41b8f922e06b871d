"""Limits of agreement, with participants as what is sampled."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, get_args

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._from_frame import difference_and_participant
from twinangle.agreement._input import Floats, finite_array, fraction
from twinangle.agreement._jackknife import few_cycles
from twinangle.agreement._limit_intervals import Form, exact_intervals, intervals_of_limits
from twinangle.agreement._people import FEWEST_PEOPLE, people_notes
from twinangle.agreement._serial import serial_values
from twinangle.agreement._shape import shape_assumptions
from twinangle.agreement.limits_found import LimitsOfAgreement, limits_result

if TYPE_CHECKING:
    import pandas as pd

_OWN_METHOD = (
    (
        "The interval of a limit is this package's own method, its coverage simulated with 6 to 40 "
        "participants: 95 % intervals held 95 to 98 % where participants' levels are normal, 91 to "
        "96 % where their tails are heavy (t, 4 degrees of freedom), 89 to 96 % with one in five "
        "an outlier, and at a skewness of 2 the limit on the long tail 82 to 94 %. No interval "
        "that was tried held 95 % there."
    ),
    (
        "Off normal, bias ∓ 1.96 SD are not the percentiles that they are for normal differences, "
        "whatever their intervals hold."
    ),
)
_POOLED = ("One variance within people for everyone.",)


def limits_of_agreement(
    difference: ArrayLike | None = None,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    coverage: float = 0.95,
    form: Form = "participant-means",
    pair: bool = False,
    data: pd.DataFrame | None = None,
    test: ArrayLike | None = None,
    reference: ArrayLike | None = None,
) -> LimitsOfAgreement:
    """Estimate the limits of agreement of two instruments.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference, one value a pair of simultaneous measurements.
    participant : array_like, shape (n,), optional
        Whose difference each is, as text or whole numbers. None: every pair is of another
        participant. Not the other instrument's readings: those go in as test - reference.
    confidence : float, default 0.95
        Of the intervals.
    coverage : float, default 0.95
        Share of differences that the limits are to hold (0.95 is bias ∓ 1.96 SD).
    form : {"participant-means", "pooled-within", "analysis-of-variance"}
        For several pairs a participant. "participant-means" (the default): every participant
        counts the same, in bias and in spread. "pooled-within": the same bias, with one
        within-participant variance pooled over all. "analysis-of-variance": the published one-way
        form, where every pair counts the same.
    pair : bool, default False
        With one pair a participant: intervals that hold for both limits at once.
    data : DataFrame, optional
        A table; `difference`, or `test` and `reference`, and `participant` are then names of its
        columns.
    test, reference : array_like or str, optional
        Both instruments, in place of `difference`.

    Returns
    -------
    LimitsOfAgreement
        With one pair a participant, the simple form with exact intervals. With several, the
        form for pairs whose true value varies. With one participant, that participant's
        limits, which say nothing of others (see `within_participant_limits`).

    Raises
    ------
    ValueError
        If there are fewer than 2 differences, a value is missing or infinite, the lengths or the
        indexes of pandas differ, readings stand where participants are named, an option is
        unknown, or every participant has one pair and all are equal.

    Notes
    -----
    One pair a participant [1]_: bias and sd are mean and standard deviation (n - 1), limits
    bias ∓ z sd. Intervals: bias ± t sd/√n; a limit exactly, from the noncentral t [2]_.

    Several pairs [3]_, d_i the mean, s_i² the variance of the n_i differences of participant i,
    k participants. "analysis-of-variance": within = mean square within, between = (mean square
    between - within) / ((N² - Σ n_i²) / ((k - 1) N)), not below 0; sd² = between + within; bias
    the mean of all pairs. "pooled-within": bias the mean of the d_i, sd² = var(d_i) +
    (1 - mean(1/n_i)) within [4]_. Both have intervals by recovery of variances (MOVER).
    "participant-means": bias the mean of the d_i, sd² = var(d_i) + mean((1 - 1/n_i) s_i²), an
    unbiased variance however unequal the n_i and s_i are, and however much neighbouring cycles
    resemble each other: what a correlation takes from E s_i² it adds to var(d_i); intervals by
    the package's own method, `_participants.limits_over_participants`. With 3 participants the
    bias has its interval and the limits have none; with 2 neither has.

    Examples
    --------
    >>> import pandas as pd
    >>> df = pd.DataFrame({"watch": [71.0, 80.0, 64.0, 90.0], "cuff": [70.0, 78.0, 65.0, 88.0]})
    >>> found = limits_of_agreement(data=df, test="watch", reference="cuff")
    >>> found.bias, round(found.lower, 2), round(found.upper, 2)
    (1.0, -1.77, 3.77)

    References
    ----------
    .. [1] Bland & Altman (1986). Lancet 327, 307-310; (1999). Stat Methods Med Res 8, 135-160.
    .. [2] Carkeet (2015). Optom Vis Sci 92, e71-e80. Shieh (2018). BMC Med Res Methodol 18, 45.
    .. [3] Bland & Altman (2007). J Biopharm Stat 17, 571-582.
    .. [4] Zou (2013). Stat Methods Med Res 22, 630-642.
    """
    difference, participant = difference_and_participant(
        data, difference, participant, test, reference
    )
    values = finite_array(difference, "difference", ndim=1, min_rows=2, participant=participant)
    confidence, coverage = fraction(confidence, "confidence"), fraction(coverage, "coverage")
    if form not in get_args(Form):
        raise ValueError(f"`form` must be one of {', '.join(get_args(Form))}, got {form!r}.")
    parts = variance_components(values, participant)
    if parts.k == 1:
        return within_participant_limits(values, confidence=confidence, coverage=coverage)
    if np.all(parts.counts == 1):
        return _simple(values, parts, confidence, coverage, pair)
    if pair:
        raise ValueError("`pair` intervals exist for one pair a participant only.")
    return _repeated(values, parts, form, confidence, coverage)


def within_participant_limits(
    difference: ArrayLike | str | None = None,
    *,
    confidence: float = 0.95,
    coverage: float = 0.95,
    data: pd.DataFrame | None = None,
    test: ArrayLike | str | None = None,
    reference: ArrayLike | str | None = None,
) -> LimitsOfAgreement:
    """Estimate the limits of one participant's differences; they say nothing of others.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference, one value a cycle, in the order measured.
    confidence, coverage : float, default 0.95
        Of the intervals, and of the limits.
    data : DataFrame, optional
        A table; the arguments are then names of its columns.
    test, reference : array_like of float, shape (n,), or str, optional
        Both in the place of `difference`.

    Returns
    -------
    LimitsOfAgreement
        `sd_within` is the standard deviation over the cycles, `sd_between` NaN.

    Raises
    ------
    ValueError
        If there are fewer than 2 differences, a value is missing or infinite, or an option is
        out of range.

    Notes
    -----
    As for one pair a participant, but neighbouring cycles resemble each other and few cycles do
    not show how much: the bias is Student's t and a limit noncentral t about the mean by
    generalised least squares, both averaged over the serial correlation, each value weighed by
    how well it fits the differences (`_serial.serial_values`).
    """
    difference, _ = difference_and_participant(data, difference, None, test, reference)
    values = finite_array(difference, "difference", ndim=1, min_rows=2)
    confidence, coverage = fraction(confidence, "confidence"), fraction(coverage, "coverage")
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    known = serial_values(values)
    half = known.half(confidence)
    lower_ci, upper_ci = (known.limit(sign, confidence, coverage) for sign in (-1, 1))
    return limits_result(
        mean, sd, (mean - half, mean + half), lower_ci, upper_ci, (float("nan"), sd),
        (1, values.size),
        method="within participant",
        weighting="all pairs equally",
        interval_method="Student's t and noncentral t, averaged over the serial correlations "
        f"that the {values.size} cycles allow",
        levels=(coverage, confidence),
        shape=(values, variance_components(values, np.zeros(values.size))),
        notes=(
            ("One participant: these limits hold for this participant's cycles only. Limits of "
            "agreement for people need several participants."),
            *few_cycles(values.size),
        ),
        assumptions=(
            ("This participant's differences are normal, with a first-order serial correlation; a "
            "slow drift beneath independent noise makes the intervals too narrow."),
        ),
    )  # fmt: skip


def _simple(
    values: Floats, parts: Components, confidence: float, coverage: float, pair: bool
) -> LimitsOfAgreement:
    """Return the limits from one pair a participant."""
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    bias_ci, lower_ci, upper_ci = exact_intervals(mean, sd, values.size, confidence, coverage, pair)
    nan = float("nan")
    return limits_result(
        mean, sd, bias_ci, lower_ci, upper_ci, (nan, nan), (values.size, values.size),
        method="one pair a participant",
        weighting="all participants equally",
        interval_method="none over 2 participants"
        if values.size < FEWEST_PEOPLE
        else "exact, noncentral t" + (", both limits at once" if pair else ""),
        levels=(coverage, confidence),
        shape=(values, parts),
        notes=(
            "One pair a participant: between and within cannot be told apart.",
            *people_notes(values.size, {"difference": values}),
        ),
        assumptions=(
            ("Participants are independent and their differences normal, with the same mean and "
            "spread whatever the size of the measurement."),
            *shape_assumptions(values.size),
        ),
    )  # fmt: skip


def _repeated(
    values: Floats, parts: Components, form: Form, confidence: float, coverage: float
) -> LimitsOfAgreement:
    """Return the limits from several linked pairs a participant, the true value varying."""
    estimate = {
        "participant-means": parts.by_participant,
        "pooled-within": parts.by_participant_pooled,
        "analysis-of-variance": parts.by_pairs,
    }[form]
    by_means = form != "analysis-of-variance"
    bias_ci = parts.bias_interval(confidence, by_participant=by_means)
    lower_ci, upper_ci, how, notes = intervals_of_limits(
        parts, estimate, form, bias_ci, confidence, coverage
    )
    if estimate.between < 0:
        notes.append(
            "Participants' means vary less than their cycles alone would make them: the variance "
            "between participants is estimated as 0."
        )
    return limits_result(
        estimate.bias, estimate.sd, bias_ci, lower_ci, upper_ci,
        (float(np.sqrt(max(estimate.between, 0))), float(np.sqrt(estimate.within))),
        (parts.k, values.size),
        method=f"several linked pairs a participant, true value varying; {form}",
        weighting="all participants equally" if by_means else "all pairs equally",
        interval_method=how,
        levels=(coverage, confidence),
        shape=(values, parts),
        notes=tuple(notes),
        assumptions=(
            ("Participants are independent; the limits are for a single cycle of a further "
            "participant."),
            ("Differences within and between participants are normal, with the same mean and "
            "spread whatever the size of the measurement."),
            ("Cycles of a participant may resemble their neighbours: SD and limits stay right, "
            "but what that takes from the SD within people it adds to the one between them."),
            *(_OWN_METHOD if form == "participant-means" else _POOLED),
            *shape_assumptions(parts.k),
        ),
    )  # fmt: skip
