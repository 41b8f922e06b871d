"""Errors of each of three instruments that measure the same thing at once, by Grubbs (1948)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._from_frame import columns
from twinangle.agreement._input import Floats, finite_array, fraction
from twinangle.agreement._people import FEWEST_PEOPLE, people_notes, people_student
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, interval, quantity
from twinangle.card import Shown
from twinangle.declare import data as in_data
from twinangle.declare import number, squared

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class InstrumentError(Shown):
    """The error of one of three instruments; the variance may be estimated below 0."""

    instrument: Annotated[str, number("name of the instrument")]
    variance: Annotated[
        float, squared("variance of the instrument's own error; an estimate may be below 0")
    ]
    variance_ci: Interval
    sd: Annotated[
        float, in_data("its square root; NaN where the estimate of the variance is below 0")
    ]


@dataclass(frozen=True, slots=True, eq=False)
class ThreeInstruments(Result):
    """Errors of a first instrument and of two references, and what the references explain."""

    errors: Annotated[tuple[InstrumentError, ...], number("error of each, in the order given")]
    sd_second: Annotated[float, in_data("SD of the differences first minus second")]
    sd_third: Annotated[float, in_data("SD of the differences first minus third")]
    sd_references: Annotated[float, in_data("SD of the differences second minus third")]
    share_second: Annotated[
        float,
        number("share of the variance of first minus second that is the second's own error"),
    ]
    share_second_ci: Interval
    share_third: Annotated[
        float, number("share of the variance of first minus third that is the third's own error")
    ]
    share_third_ci: Interval
    n_participants: Annotated[int, number("participants")]
    n_observations: Annotated[int, number("values of each instrument")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    @property
    def negative(self) -> tuple[str, ...]:
        """Names of the instruments whose variance is estimated below 0."""
        return tuple(one.instrument for one in self.errors if one.variance < 0)

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        first, second, third = self.errors
        said = [
            f"{one.instrument} {quantity(one.sd, unit)}"
            if one.variance >= 0
            else f"{one.instrument} no larger than can be told from 0 (estimate below 0)"
            for one in self.errors
        ]
        return (
            f"SD of the error of each: {', '.join(said)}; {second.instrument}'s own error is "
            f"{100 * self.share_second:.0f} % of the variance of {first.instrument} minus "
            f"{second.instrument} ({interval(self.share_second_ci, '', self.confidence)}), "
            f"{third.instrument}'s {100 * self.share_third:.0f} % of that of {first.instrument} "
            f"minus {third.instrument} ({interval(self.share_third_ci, '', self.confidence)})."
        )


def three_instrument_errors(
    first: ArrayLike | str,
    second: ArrayLike | str,
    third: ArrayLike | str,
    participant: ArrayLike | Sequence[object] | str | None = None,
    *,
    confidence: float = 0.95,
    names: tuple[str, str, str] = ("first", "second", "third"),
    data: pd.DataFrame | None = None,
) -> ThreeInstruments:
    """Estimate the error of each of three instruments from their differences.

    Parameters
    ----------
    first, second, third : array_like of float, shape (n,)
        What each read of the same n things, in one unit: a test instrument and two references.
    participant : array_like, shape (n,), optional
        Whose each is; None: one a participant.
    confidence : float, default 0.95
        Of the intervals.
    names : tuple of str
        Of the instruments.
    data : DataFrame, optional
        A table; the first four arguments are then names of its columns.

    Returns
    -------
    ThreeInstruments

    Raises
    ------
    ValueError
        If the lengths differ, a value is not finite, or there are fewer than 2 participants.

    Notes
    -----
    With ``W = t + e_W``, ``A = t + e_A``, ``B = t + e_B``, errors that are unrelated to each other
    and any constant bias, ``var(W - A) = var(e_W) + var(e_A)`` and so on, of which [1]_ ::

        var(e_W) = cov(W - A, W - B) = (var(W - A) + var(W - B) - var(A - B)) / 2

    and likewise the others. The part of ``var(W - A)`` that A explains is
    ``cov(W - A, B - A) / var(W - A) = var(e_A) / var(W - A)``; what W leaves is 1 minus it. An
    estimate may come out below 0, where an error is small against the others, or where errors are
    related; it is given as it is. Where A and B share an error (a marker, a zero), it is not in
    ``A - B`` and is counted as W's.

    Variances are those of the limits of agreement, every participant counting the same,
    ``var(d_i) + mean((1 - 1/n_i) s_i²)``, a quadratic form of the differences, so that the
    identities hold exactly; with one value a participant it is the sample variance.

    Intervals: jackknife over participants, Student's t on k - 1 degrees of freedom for the mean of
    the pseudo-values [2]_; NaN below 3 participants. Simulated, 95 % intervals of the first's
    variance held it in 90 % with 6 participants and 92 % with 20, those of the third's share in
    94 to 95 % (`benchmarks/three_instruments.py`).

    References
    ----------
    .. [1] Grubbs (1948). J Am Stat Assoc 43, 243-264.
    .. [2] Efron & Tibshirani (1993). An Introduction to the Bootstrap, ch. 11 (jackknife).
    """
    fraction(confidence, "confidence")
    first, second, third, participant = columns(
        data, first=first, second=second, third=third, participant=participant
    )
    read = [
        finite_array(values, name, ndim=1, min_rows=2, participant=participant)
        for values, name in ((first, "first"), (second, "second"), (third, "third"))
    ]
    if len({values.size for values in read}) > 1:
        sizes = ", ".join(str(values.size) for values in read)
        raise ValueError(f"the three instruments have {sizes} values; each needs all of them.")
    parts = [
        variance_components(read[one] - read[other], participant)
        for one, other in ((0, 1), (0, 2), (1, 2))
    ]
    k = parts[0].k
    if k < 2:
        raise ValueError("at least 2 participants are needed, got 1.")
    found = np.array([one.by_participant.sd**2 for one in parts])
    left = np.stack([_without_each(one) for one in parts], axis=1) if k >= FEWEST_PEOPLE else None

    def between(which: Callable[[Floats], Floats]) -> Interval:
        return _jackknife(float(which(found)), None if left is None else which(left), confidence)

    variances = [_variance_of(place) for place in range(3)]
    return ThreeInstruments(
        errors=tuple(
            _error(name, float(which(found)), between(which))
            for name, which in zip(names, variances, strict=True)
        ),
        sd_second=float(np.sqrt(found[0])),
        sd_third=float(np.sqrt(found[1])),
        sd_references=float(np.sqrt(found[2])),
        share_second=float(_share_second(found)),
        share_second_ci=between(_share_second),
        share_third=float(_share_third(found)),
        share_third_ci=between(_share_third),
        n_participants=k,
        n_observations=read[0].size,
        confidence=confidence,
        assumptions=_assumptions(names, k),
    )


def _without_each(parts: Components) -> Floats:
    """Return the variance of a difference without each participant in turn, (k,)."""
    k, means, shrunk = parts.k, parts.means, parts.shrunk_variances
    away = means - means.mean()
    squares = float(away @ away) - away**2 * k / (k - 1)
    found: Floats = squares / (k - 2) + (shrunk.sum() - shrunk) / (k - 1)
    return found


def _variance_of(place: int) -> Callable[[Floats], Floats]:
    """Return what takes the variances of three differences to that of one instrument's error."""
    signs = np.ones(3)
    signs[2 - place] = -1.0

    def variance(of: Floats) -> Floats:
        found: Floats = of @ signs / 2
        return found

    return variance


def _share_second(of: Floats) -> Floats:
    return _share(_variance_of(1)(of), of[..., 0])


def _share_third(of: Floats) -> Floats:
    return _share(_variance_of(2)(of), of[..., 1])


def _share(part: Floats, whole: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        found: Floats = np.where(whole > 0, part / whole, np.nan)
    return found


def _error(name: str, variance: float, between: Interval) -> InstrumentError:
    sd = float(np.sqrt(variance)) if variance >= 0 else float("nan")
    return InstrumentError(name, variance, between, sd)


def _jackknife(estimate: float, left_out: Floats | None, confidence: float) -> Interval:
    """Return the interval over participants, who are unrelated; NaN where there is none."""
    if left_out is None or not np.isfinite([estimate, *left_out]).all():
        return NO_INTERVAL
    k = left_out.size
    pseudo = k * estimate - (k - 1) * left_out
    half = people_student(confidence, k) * float(pseudo.std(ddof=1) / np.sqrt(k))
    return estimate - half, estimate + half


def _assumptions(names: tuple[str, str, str], k: int) -> tuple[str, ...]:
    return (
        (
            "Errors of the three instruments are unrelated to each other and to what is measured, "
            "and all three read in the same unit (a gain of 1)."
        ),
        (
            f"An error that {names[1]} and {names[2]} share is not in their difference: it is "
            f"counted as an error of {names[0]}."
        ),
        (
            "An estimate of a variance below 0 says that the error cannot be told from none, or "
            "that errors are related."
        ),
        *people_notes(k),
    )
