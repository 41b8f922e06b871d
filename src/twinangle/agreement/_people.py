"""Intervals over people by Student's t, and what so few people mean for them: one rule for all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from twinangle.agreement._input import Floats
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval, quantity

FEWEST_PEOPLE = 3  # with 2, Student's t has one degree of freedom: 12.7 standard errors. Own rule
NO_INTERVAL_OF_TWO = "2 participants: no interval over people is given"
OWN_VALUES = "; their own values: "


def people_student(confidence: float, k: int) -> float:
    """Return Student's t of a mean over k participants, k - 1 degrees of freedom; NaN of 1 or 2.

    Every interval over people that rests on Student's t takes it from here, so that two people
    have none whatever the topic.
    """
    return two_sided_student(confidence, k - 1) if k >= FEWEST_PEOPLE else float("nan")


def mean_and_interval(values: Floats, confidence: float) -> tuple[float, Interval]:
    """Return the mean over participants with Student's t interval; NaN where there is none.

    Parameters
    ----------
    values : ndarray of float, shape (k,)
        One a participant.
    confidence : float
        Of the interval.

    Returns
    -------
    mean : float
        NaN when a value is not finite.
    interval : tuple of float
        NaN also below 3 participants.
    """
    if values.size == 0 or not np.isfinite(values).all():
        return float("nan"), NO_INTERVAL
    mean = float(values.mean())
    if values.size < FEWEST_PEOPLE:
        return mean, NO_INTERVAL
    half = people_student(confidence, values.size) * float(
        values.std(ddof=1) / np.sqrt(values.size)
    )
    return mean, (mean - half, mean + half)


def people_notes(n: int, each: Mapping[str, Iterable[float]] | None = None) -> tuple[str, ...]:
    """Return what the number of participants means for intervals over them.

    Parameters
    ----------
    n : int
        Participants.
    each : mapping of str to sequence of float, optional
        Numbers by their names, one a participant: of two people they are what is given instead of
        an interval.

    Returns
    -------
    tuple of str
        Nothing from 4 on.
    """
    if n == 1:
        return ("One participant: these numbers have no interval over people.",)
    if n == 2:
        own = ", ".join(
            f"{name} {' and '.join(quantity(float(value), '') for value in values)}"
            for name, values in (each or {}).items()
        )
        return (f"{NO_INTERVAL_OF_TWO}{OWN_VALUES + own if own else ''}.",)
    if n < 4:
        return (f"{n} participants only: the intervals are wide and hard to check.",)
    return ()
