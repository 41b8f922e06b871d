"""Concordance of two columns of measurements."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._from_frame import columns
from twinangle.agreement._input import finite_pair, fraction
from twinangle.agreement._quantiles import normal, student
from twinangle.agreement._result import Interval, Result, interval
from twinangle.agreement.reliability import concordance_interval
from twinangle.declare import number

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class Concordance(Result):
    """Lin's concordance correlation coefficient."""

    value: Annotated[float, number("Lin's concordance correlation: precision times accuracy")]
    value_ci: Interval
    precision: Annotated[float, number("Pearson's correlation")]
    accuracy: Annotated[float, number("bias correction factor")]
    n_participants: Annotated[int, number("pairs, one a participant")]
    confidence: Annotated[float, number("confidence of the interval")]
    assumptions: Annotated[tuple[str, ...], number("what the number rests on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded; it has no unit."""
        return (
            f"Concordance correlation {self.value:.3f} "
            f"({interval(self.value_ci, '', self.confidence)}): precision {self.precision:.3f}, "
            f"accuracy {self.accuracy:.3f}; {self.n_participants} pairs."
        )


def concordance(
    test: ArrayLike,
    reference: ArrayLike,
    *,
    confidence: float = 0.95,
    small_sample: bool = True,
    data: pd.DataFrame | None = None,
) -> Concordance:
    """Estimate Lin's concordance correlation coefficient.

    Parameters
    ----------
    test, reference : array_like of float, shape (n,)
        One pair a participant.
    confidence : float, default 0.95
        Of the interval.
    small_sample : bool, default True
        Student's t on n - 1 degrees of freedom in the place of the paper's normal quantile, with
        which a 95 % interval held 91 % in simulated studies of 6 participants.
    data : DataFrame, optional
        A table; the arguments before are then names of its columns.

    Returns
    -------
    Concordance

    Raises
    ------
    ValueError
        If there are fewer than 3 pairs, a value is missing or infinite, or both are constant.

    Notes
    -----
    c = 2 s_xy / (s_x² + s_y² + (mean x - mean y)²), variances with divisor n; interval by
    Fisher's z with Lin's variance, with a quantile of Student's t (our own) or the normal one
    (Lin's).

    References
    ----------
    .. [1] Lin (1989). Biometrics 45, 255-268; correction: Lin (2000) 56, 324-325.
    """
    test, reference = columns(data, test=test, reference=reference)
    x, y = finite_pair(test, reference, ndim=1, min_rows=3)
    confidence = fraction(confidence, "confidence")
    sx, sy, shift = float(x.std()), float(y.std()), float(x.mean() - y.mean())
    if sx == 0 or sy == 0:
        raise ValueError("`test` or `reference` is constant: concordance is not defined.")
    shared = float(np.mean((x - x.mean()) * (y - y.mean())))
    c, r = 2 * shared / (sx**2 + sy**2 + shift**2), shared / (sx * sy)
    level = (1 + confidence) / 2
    quantile = student(level, x.size - 1) if small_sample else normal(level)
    return Concordance(
        value=c,
        value_ci=concordance_interval(c, r, shift**2 / (sx * sy), x.size, quantile),
        precision=r,
        accuracy=c / r if r != 0 else float("nan"),
        n_participants=x.size,
        confidence=confidence,
        assumptions=(
            "Pairs are independent and bivariate normal.",
            "Concordance grows with the range of the participants; it is not a limit of error.",
        ),
    )
