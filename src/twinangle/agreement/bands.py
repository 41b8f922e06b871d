"""Simultaneous bands of a curve, with participants as what is sampled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal, get_args

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._from_frame import curves as curves_of
from twinangle.agreement._input import Floats, finite_array, fraction, read_only, require_names
from twinangle.agreement._quantiles import student
from twinangle.agreement._result import Result, quantity
from twinangle.declare import data, number
from twinangle.sketch import REFERENCE, WEARABLE, sketch_curves

if TYPE_CHECKING:
    import pandas as pd

Target = Literal["mean", "new-participant"]


@dataclass(frozen=True, slots=True, eq=False)
class CurveBand(Result):
    """A band about a mean curve that holds at every point at once."""

    mean: Annotated[Floats, data("mean of the participants' mean curves")]
    lower: Annotated[Floats, data("lower edge of the band")]
    upper: Annotated[Floats, data("upper edge of the band")]
    critical: Annotated[
        float,
        number("half-width of the band in its own standard error, the same at every point"),
    ]
    pointwise: Annotated[
        float,
        number("half-width, in standard errors, that would hold at a single point only"),
    ]
    target: Annotated[
        str,
        number(
            "'mean': the band is to hold the true mean curve; 'new-participant': the mean "
            "curve of a further participant"
        ),
    ]
    method: Annotated[str, number("where `critical` comes from")]
    n_participants: Annotated[int, number("participants")]
    n_curves: Annotated[int, number("curves")]
    confidence: Annotated[float, number("confidence of the whole band")]
    assumptions: Annotated[tuple[str, ...], number("what the band rests on")]

    def _sketch(self) -> str:
        curves = [("mean", self.mean, WEARABLE), ("lower", self.lower, REFERENCE)]
        curves.append(("upper", self.upper, REFERENCE))
        return sketch_curves(curves, "Mean and band over the cycle")

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        width = float(np.max(self.upper - self.lower)) / 2
        return (
            f"The simultaneous {100 * self.confidence:g} % band covers the whole curve at once "
            f"(target {self.target}; {self.method}): ± {self.critical:.2f} standard errors where a "
            f"pointwise one takes {self.pointwise:.2f}, at most ± {quantity(width, unit)}; "
            f"{self.n_curves} curves of {self.n_participants} participants."
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row a point, unrounded."""
        import pandas as pd

        return pd.DataFrame({"mean": self.mean, "lower": self.lower, "upper": self.upper})


def curve_band(
    curves: ArrayLike,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    target: Target = "mean",
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> CurveBand:
    """Find the simultaneous band of a curve, from the Gaussian kinematic formula.

    Parameters
    ----------
    curves : array_like of float, shape (n_curves, n_points)
        Curves, or differences of curves.
    participant : array_like, shape (n_curves,), optional
        Whose curve each is; None: one a participant.
    target : {"mean", "new-participant"}, default "mean"
        What the band is to hold: the true mean curve, or the mean curve of a further participant.
    confidence : float, default 0.95
        That the whole curve lies in the band.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns.
    cycle, point : str
        Its columns of the cycle (or several that tell cycles apart) and of the point within it.

    Returns
    -------
    CurveBand

    Raises
    ------
    ValueError
        If there are fewer than 4 participants or 2 points, a value is missing or infinite, or the
        target is unknown.

    Notes
    -----
    Participants' mean curves have mean m and standard deviation s over k participants, v = k - 1;
    u_i are their residual curves scaled to a sum of squares of 1 over participants at each point.
    The half-width c s/√k (or c s √(1 + 1/k)) has c solving [1]_ [2]_::

        2 [P(T_v > c) + L/(2 π) (1 + c²/v)^(-(v - 1)/2)] = 1 - confidence
        L = Σ_j √(Σ_i (u_i,j+1 - u_ij)² (v - 2)/(v - 1))

    the expected number of exceedances of a t process; never more than Bonferroni's c.

    References
    ----------
    .. [1] Worsley (1994). Adv Appl Probab 26, 13-42.
    .. [2] Telschow & Schwartzman (2022). J Stat Plan Inference 216, 70-94. Liebl & Reimherr
       (2023). J R Stat Soc B 85, 842-868.
    """
    curves, participant = curves_of(data, cycle, point, participant=participant, curves=curves)
    if target not in get_args(Target):
        raise ValueError(f"`target` must be mean or new-participant, got {target!r}.")
    confidence = fraction(confidence, "confidence")
    means, n_curves = participant_means(curves, participant, fewest=4)
    critical = kinematic_critical(means, confidence)
    return _band(means, n_curves, critical, target, confidence)


def kinematic_critical(means: Floats, confidence: float) -> float:
    """Return the half-width in standard errors that holds along whole curves.

    Parameters
    ----------
    means : ndarray of float, shape (k, n_points)
        Independent curves, k at least 4.
    confidence : float
        Of the whole band.

    Returns
    -------
    float
        c of `curve_band`, between the pointwise and the Bonferroni value.
    """
    k, n_points = means.shape
    df, alpha = k - 1, 1 - confidence
    residual = means - means.mean(axis=0)
    norm = np.sqrt((residual**2).sum(axis=0))
    unit = residual / np.where(norm > 0, norm, 1)
    steps = (np.diff(unit, axis=1) ** 2).sum(axis=0) * (df - 2) / (df - 1)
    length = float(np.sqrt(steps).sum())

    def expected(c: float) -> float:
        tail = float(scipy.special.stdtr(df, -c))
        crossings = length / (2 * np.pi) * (1 + c**2 / df) ** (-(df - 1) / 2)
        return float(2 * (tail + crossings) - alpha)

    bonferroni = student(1 - alpha / (2 * n_points), df)
    if expected(bonferroni) >= 0:
        return bonferroni
    return float(
        scipy.optimize.brentq(expected, student(1 - alpha / 2, df), bonferroni, xtol=1e-10)
    )


def participant_means(
    curves: ArrayLike, participant: ArrayLike | Sequence[object] | None, *, fewest: int
) -> tuple[Floats, int]:
    """Return the mean curve of each participant, and the number of curves.

    Parameters
    ----------
    curves : array_like of float, shape (n_curves, n_points)
        Curves of all participants.
    participant : array_like, shape (n_curves,), optional
        Whose each is; None: one a participant.
    fewest : int
        Participants needed.

    Returns
    -------
    means : ndarray of float, shape (k, n_points)
    n_curves : int

    Raises
    ------
    ValueError
        If there are fewer participants or than 2 points, or a value or a name is missing.
    """
    values = finite_array(curves, "curves", ndim=2, min_rows=2, participant=participant)
    if values.shape[1] < 2:
        raise ValueError(f"`curves` needs at least 2 points, got shape {values.shape}.")
    codes = _codes(participant, values.shape[0])
    counts = np.bincount(codes)
    if counts.size < fewest:
        raise ValueError(
            f"at least {fewest} participants are needed, got {counts.size}; cycles of one "
            "participant cannot stand in for people."
        )
    return _sums(values, codes, counts) / counts[:, None], values.shape[0]


def _sums(values: Floats, codes: NDArray[np.int64], counts: NDArray[np.int64]) -> Floats:
    """Return the sum of each participant's rows."""
    order = np.argsort(codes, kind="stable")
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    total: Floats = np.add.reduceat(values[order], starts, axis=0)
    return total


def _band(
    means: Floats, n_curves: int, critical: float, target: str, confidence: float
) -> CurveBand:
    """Put the band together around the mean of participants' means."""
    k = means.shape[0]
    scale = np.sqrt(1 / k if target == "mean" else 1 + 1 / k)
    centre, reach = means.mean(axis=0), critical * means.std(axis=0, ddof=1) * scale
    return CurveBand(
        mean=read_only(centre),
        lower=read_only(centre - reach),
        upper=read_only(centre + reach),
        critical=critical,
        pointwise=student((1 + confidence) / 2, k - 1),
        target=target,
        method="Gaussian kinematic formula",
        n_participants=k,
        n_curves=n_curves,
        confidence=confidence,
        assumptions=(
            "Participants are independent, each counting once with their mean curve.",
            "Participants' mean curves are smooth and Gaussian about the true mean.",
        ),
    )


def _codes(participant: ArrayLike | Sequence[object] | None, n: int) -> NDArray[np.int64]:
    """Return a number for each curve's participant."""
    import pandas as pd

    if participant is None:
        return np.arange(n)
    require_names(participant)
    labels = pd.Series(list(np.asarray(participant, dtype=object)), dtype=object)
    if labels.size != n:
        raise ValueError(f"`curves` has {n} rows and `participant` {labels.size}.")
    if labels.isna().any():
        raise ValueError(f"`participant` is missing at index {int(np.argmax(labels.isna()))}.")
    return np.asarray(pd.factorize(labels)[0], dtype=np.int64)
