"""How far limits of agreement hang on single participants: each left out in turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._from_frame import difference_and_participant
from twinangle.agreement._input import Floats, finite_array, fraction
from twinangle.agreement._quantiles import half_width
from twinangle.agreement._result import Result, counted, quantity
from twinangle.declare import data, number

if TYPE_CHECKING:
    import pandas as pd

_ASSUMPTIONS = (
    "Participants are independent; each is left out with all that was measured of them.",
)
FEWEST = 4
"""Participants below which none is left out: limits of the rest would be of two, a rough guess."""
COVERAGE = 0.95  # share of differences that the limits are to hold


@dataclass(frozen=True, slots=True, eq=False)
class WithoutOne(Result):
    """Bias and limits of agreement once one participant is left out."""

    assumptions: ClassVar[tuple[str, ...]] = _ASSUMPTIONS  # type: ignore[misc]  # no field

    participant: Annotated[str, number("who is left out")]
    n_observations: Annotated[int, number("differences of the others")]
    bias: Annotated[float, data("bias of the others")]
    lower: Annotated[float, data("lower limit of agreement of the others")]
    upper: Annotated[float, data("upper limit of agreement of the others")]
    bias_change: Annotated[float, data("bias of the others minus that of all")]
    lower_change: Annotated[float, data("lower limit of the others minus that of all")]
    upper_change: Annotated[float, data("upper limit of the others minus that of all")]

    @property
    def largest_change(
        self,
    ) -> Annotated[float, data("largest of the three changes, without its sign")]:
        """The largest of the three changes, without its sign."""
        return max(abs(self.bias_change), abs(self.lower_change), abs(self.upper_change))

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"Without {self.participant} the bias is {quantity(self.bias, unit)}, the limits of "
            f"agreement {quantity(self.lower, unit)} to {quantity(self.upper, unit)}."
        )


@dataclass(frozen=True, slots=True, eq=False)
class Sensitivity(Result):
    """Result of :func:`leave_one_out`."""

    assumptions: ClassVar[tuple[str, ...]] = _ASSUMPTIONS  # type: ignore[misc]  # no field

    without: Annotated[tuple[WithoutOne, ...], number("each participant left out in turn")]
    n_participants: Annotated[int, number("participants")]

    @property
    def largest(self) -> WithoutOne:
        """The participant whose absence changes most."""
        return max(self.without, key=lambda one: one.largest_change)

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return f"Of {counted(self.n_participants, 'participant')}: {self.largest.summary(unit)}"

    def to_frame(self) -> pd.DataFrame:
        """Return a row for each participant who is left out."""
        import pandas as pd

        return pd.concat([one.to_frame() for one in self.without], ignore_index=True)


def leave_one_out(
    difference: ArrayLike | str | None = None,
    participant: ArrayLike | Sequence[object] | str | None = None,
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
    test: ArrayLike | str | None = None,
    reference: ArrayLike | str | None = None,
) -> Sensitivity:
    """Estimate bias and limits of agreement without each participant in turn.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference, one value a pair of simultaneous measurements.
    participant : array_like, shape (n,)
        Whose difference each is.
    confidence : float, default 0.95
        Must be between 0 and 1, as everywhere; bias and limits do not depend on it.
    data : DataFrame, optional
        A table; the arguments are then names of its columns.
    test, reference : array_like of float, shape (n,), or str, optional
        Both in the place of `difference`.

    Returns
    -------
    Sensitivity
        One entry a participant, in order of first appearance.

    Raises
    ------
    ValueError
        If there are fewer than 4 participants, or the differences are none for
        :func:`limits_of_agreement`.

    Notes
    -----
    Deletion of one cluster at a time, as for influence in regression [1]_: for participant j,
    b(−j) − b, l(−j) − l and u(−j) − u, with b, l, u the bias and the limits of
    :func:`limits_of_agreement`. Where every participant counts the same, b(−j) − b =
    (b − d_j)/(k − 1), d_j the participant's mean, and these changes add up to 0. Nobody is to be
    left out of the analysis for what is found here: it tells what the numbers rest on.

    References
    ----------
    .. [1] Belsley, Kuh & Welsch (1980). Regression Diagnostics. Wiley.
    """
    difference, participant = difference_and_participant(
        data, difference, participant, test, reference
    )
    values = finite_array(difference, "difference", ndim=1, min_rows=2, participant=participant)
    codes = np.asarray([str(code) for code in np.asarray(participant)])
    people = list(dict.fromkeys(codes.tolist()))
    if len(people) < FEWEST:
        raise ValueError(
            f"{counted(len(people), 'participant')}; leaving each out in turn needs {FEWEST} or "
            "more."
        )
    fraction(confidence, "confidence")
    parts = variance_components(values, codes)
    whole = _bias_and_limits(parts.means, parts.shrunk_variances)
    without = (_without(parts, k, whole) for k in range(parts.k))
    return Sensitivity(tuple(without), parts.k)


def _bias_and_limits(means: Floats, shrunk: Floats) -> tuple[float, float, float]:
    """Return bias and limits from d_i and (1 - 1/n_i) s_i² of :func:`limits_of_agreement`."""
    bias = float(means.mean())
    reach = half_width(COVERAGE) * float(np.sqrt(float(means.var(ddof=1)) + float(shrunk.mean())))
    return bias, bias - reach, bias + reach


def _without(parts: Components, k: int, whole: tuple[float, float, float]) -> WithoutOne:
    """Return bias and limits without the k-th participant, and how they differ from those of all.

    A participant's mean and variance are the same whoever else is there, so that they are taken
    once; no interval is computed, for none is shown.
    """
    found = _bias_and_limits(np.delete(parts.means, k), np.delete(parts.shrunk_variances, k))
    return WithoutOne(
        str(parts.labels[k]),
        int(parts.counts.sum() - parts.counts[k]),
        *found,
        *(one - of_all for one, of_all in zip(found, whole, strict=True)),
    )
