"""Limits of agreement from a mixed model, for unbalanced and nested designs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._from_frame import columns, difference_and_participant
from twinangle.agreement._input import Floats, finite_array, fraction, require_one_index
from twinangle.agreement._limit_intervals import FEWEST_PARTICIPANTS
from twinangle.agreement._model_intervals import bias_half_width, model_limits
from twinangle.agreement._quantiles import half_width
from twinangle.agreement._reml import NestedSums, RemlFit, fit_reml, nested_sums
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, counted, interval, quantity
from twinangle.declare import data, number, squared

if TYPE_CHECKING:
    import pandas as pd

_NO_SPREAD = 1e-20  # of all squares: what rounding leaves of equal differences


@dataclass(frozen=True, slots=True, eq=False)
class MixedModelLimits(Result):
    """Limits of agreement from a random-effects model fitted by restricted maximum likelihood."""

    bias: Annotated[float, data("fixed intercept: the bias")]
    bias_se: Annotated[float, data("standard error of the bias")]
    bias_ci: Interval
    sd: Annotated[float, data("SD of a single difference")]
    variance_between: Annotated[float, squared("variance between participants")]
    variance_nested: Annotated[
        float,
        squared("variance between nested units within participants; NaN without"),
    ]
    variance_within: Annotated[float, squared("variance that is left")]
    lower: Annotated[float, data("lower limit, bias - z sd")]
    lower_ci: Interval
    upper: Annotated[float, data("upper limit, bias + z sd")]
    upper_ci: Interval
    n_participants: Annotated[int, number("participants")]
    n_nested: Annotated[int, number("nested units; 0 without")]
    n_observations: Annotated[int, number("differences")]
    coverage: Annotated[float, number("share of differences between the limits")]
    confidence: Annotated[float, number("confidence of the intervals")]
    notes: Annotated[tuple[str, ...], number("what to know before the numbers are used")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        ci = [interval(b, unit, self.confidence) for b in (self.bias_ci, self.lower_ci)]
        return (
            f"Mixed model: bias {quantity(self.bias, unit)} ({ci[0]}), limits of agreement "
            f"{quantity(self.lower, unit)} ({ci[1]}) to {quantity(self.upper, unit)} "
            f"({interval(self.upper_ci, unit, self.confidence)}); "
            f"{counted(self.n_observations, 'difference')} of {self.n_participants} participants."
        )


def mixed_model_limits(
    difference: ArrayLike,
    participant: ArrayLike | Sequence[object],
    nested: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    coverage: float = 0.95,
    data: pd.DataFrame | None = None,
) -> MixedModelLimits:
    """Estimate limits of agreement with participants, and units within them, as random effects.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference.
    participant : array_like, shape (n,)
        Whose difference each is.
    nested : array_like, shape (n,), optional
        Session or side within the participant.
    confidence, coverage : float, default 0.95
        Of the intervals and of the limits.
    data : DataFrame, optional
        A table; `difference` is then the name of a column, or a pair of names, test and
        reference, and `participant` a name too.

    Returns
    -------
    MixedModelLimits

    Raises
    ------
    ValueError
        If there are fewer than 2 participants, nobody has 2 differences, nobody has 2 nested
        units, differences of one unit are equal in all of them, a value is missing or infinite,
        or the lengths differ.

    Notes
    -----
    d_ijk = bias + a_i (+ b_ij) + e_ijk, by restricted maximum likelihood; sd² is the sum of the
    variances. With an intercept alone the likelihood has a closed form in counts, means and sums
    of squares; its maximum is found over a grid of both variance ratios, 0 included (`fit_reml`).
    statsmodels maximises the same likelihood over matrices; `benchmarks/mixed_model.py` shows how
    often its search breaks off or ends lower where a variance is near 0, and the tests hold both
    against each other. `bias_se` is the model's, by generalised least squares.

    The interval of the bias is Student's t from what participants' means show, whichever
    variances the model found (`bias_half_width`); those of the limits are generalised confidence
    intervals (`model_limits`), exact where cycles and units add nothing to what people differ by.
    """
    difference, participant = difference_and_participant(data, difference, participant, None, None)
    (nested,) = columns(data, nested=nested)
    values = finite_array(difference, "difference", ndim=1, min_rows=3, participant=participant)
    require_one_index({"difference": difference, "nested": nested})
    confidence, coverage = fraction(confidence, "confidence"), fraction(coverage, "coverage")
    parts = variance_components(values, participant)
    units = _nested_codes(parts.codes, nested, values.size)
    sums = nested_sums(values, parts.codes, units)
    _require_replication(values, parts, sums, units is not None)
    fit = fit_reml(sums)
    half = bias_half_width(fit, confidence)
    z, sd = half_width(coverage), float(np.sqrt(fit.total))
    lower_ci, upper_ci = NO_INTERVAL, NO_INTERVAL
    if parts.k >= FEWEST_PARTICIPANTS:
        lower_ci, upper_ci = model_limits(sums, fit, confidence, z)
    return MixedModelLimits(
        bias=fit.bias,
        bias_se=float(np.sqrt(fit.bias_variance)),
        bias_ci=(fit.bias - half, fit.bias + half),
        sd=sd,
        variance_between=fit.between,
        variance_nested=float("nan") if units is None else fit.nested,
        variance_within=fit.within,
        lower=fit.bias - z * sd,
        lower_ci=lower_ci,
        upper=fit.bias + z * sd,
        upper_ci=upper_ci,
        n_participants=parts.k,
        n_nested=0 if units is None else sums.owner.size,
        n_observations=values.size,
        coverage=coverage,
        confidence=confidence,
        notes=_notes_on_zero(fit, units is not None),
        assumptions=(
            (
                "Participants, nested units and differences within them are independent and "
                "normal. The limits have one spread for everybody; their intervals allow for "
                "participants who differ in it."
            ),
            (
                "Participants weigh by what the model makes of their number of differences: the "
                "bias lies between the mean of pairs and the mean of participants' means."
            ),
        ),
    )


def _require_replication(values: Floats, parts: Components, sums: NestedSums, nested: bool) -> None:
    """Refuse data that a random-effects model cannot be fitted to."""
    if parts.k < 2 or parts.counts.max() < 2 or np.ptp(values) == 0:
        raise ValueError(
            f"a mixed model needs 2 participants, repeated differences and some spread; got "
            f"{parts.k} participant(s), at most {parts.counts.max()} difference(s) each."
        )
    if nested and (not sums.nested or sums.counts.max() < 2):
        raise ValueError(
            "a nested level needs a participant with 2 units, and a unit with 2 differences; got "
            f"{sums.owner.size} unit(s) of {sums.k} participants, at most "
            f"{sums.counts.max():.0f} difference(s) each. Leave `nested` out."
        )
    if sums.squares.sum() <= _NO_SPREAD * float(np.sum((values - values.mean()) ** 2)):
        raise ValueError(
            f"a mixed model needs differences that vary within {'a unit' if nested else 'somebody'}"
            "; all repeated ones are equal. Use `limits_of_agreement` on one of each."
        )


def _notes_on_zero(fit: RemlFit, nested: bool) -> tuple[str, ...]:
    """Return a sentence for each variance that is estimated as 0."""
    levels = [("participants", fit.between)] + [("nested units", fit.nested)] * nested
    return tuple(
        f"The variance between {name} is estimated as 0." for name, size in levels if size == 0
    )


def _nested_codes(
    codes: NDArray[np.int64], nested: ArrayLike | Sequence[object] | None, n: int
) -> NDArray[np.int64] | None:
    """Return a code for each unit within its participant."""
    import pandas as pd

    if nested is None:
        return None
    labels = pd.Series(list(np.asarray(nested, dtype=object)), dtype=object)
    if labels.size != n:
        raise ValueError(f"`difference` has {n} values and `nested` {labels.size}.")
    if labels.isna().any():
        raise ValueError(f"`nested` is missing at index {int(np.argmax(labels.isna()))}.")
    pairs = [f"{code}|{label}" for code, label in zip(codes, labels, strict=True)]
    return np.asarray(pd.factorize(np.array(pairs, dtype=object))[0])
