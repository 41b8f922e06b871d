"""Limits of agreement from a mixed model, for unbalanced and nested designs."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._input import Floats, finite_array, fraction
from twinangle.agreement._intervals import join_limits
from twinangle.agreement._quantiles import chi_square_shares, half_width, two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, counted, interval, quantity


@dataclass(frozen=True, slots=True, eq=False)
class MixedModelLimits(Result):
    """Limits of agreement from a random-effects model fitted by restricted maximum likelihood.

    Attributes
    ----------
    bias, bias_se : float
        Fixed intercept and its standard error.
    sd : float
        Standard deviation of a single difference.
    variance_between, variance_nested, variance_within : float
        Between participants, between nested units within them (NaN without), and the rest.
    lower, upper : float
        bias ∓ z sd.
    bias_ci, lower_ci, upper_ci : tuple of float
        Intervals; those of the limits NaN below 4 participants.
    n_participants, n_nested, n_observations : int
        Participants, nested units (0 without) and differences.
    converged : bool
        Whether the fit did.
    coverage, confidence : float
        Of the limits and of the intervals.
    notes, assumptions : tuple of str
        What to know before the numbers are used, and what they rest on.
    """

    bias: float
    bias_se: float
    bias_ci: Interval
    sd: float
    variance_between: float
    variance_nested: float
    variance_within: float
    lower: float
    lower_ci: Interval
    upper: float
    upper_ci: Interval
    n_participants: int
    n_nested: int
    n_observations: int
    converged: bool
    coverage: float
    confidence: float
    notes: tuple[str, ...]
    assumptions: tuple[str, ...]

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

    Returns
    -------
    MixedModelLimits

    Raises
    ------
    ValueError
        If there are fewer than 2 participants, nobody has 2 differences, all differences are
        equal, a value is missing or infinite, the lengths differ, or the fit fails.

    Notes
    -----
    d_ijk = bias + a_i (+ b_ij) + e_ijk, by restricted maximum likelihood (statsmodels); sd² is the
    sum of the variances. Bias: Student's t on k - 1 degrees of freedom. Limits: k bias_se² takes
    the place of the variance of participants' means (k - 1 degrees of freedom), the remainder of
    sd² has those of the nested units or of the residual, and MOVER joins them as in
    `limits_of_agreement`.
    """
    values = finite_array(difference, "difference", ndim=1, min_rows=3)
    confidence, coverage = fraction(confidence, "confidence"), fraction(coverage, "coverage")
    parts = variance_components(values, participant)
    _require_replication(values, parts)
    units = _nested_codes(parts.codes, nested, values.size)
    fit, notes = _fit(values, parts.codes, units)
    within = float(fit.scale)
    between = float(np.asarray(fit.cov_re).ravel()[0])
    inner = float(fit.vcomp[0]) if units is not None else float("nan")
    total = between + within + (inner if units is not None else 0.0)
    bias, error = (float(np.asarray(x)[0]) for x in (fit.fe_params, fit.bse_fe))
    half = two_sided_student(confidence, parts.k - 1) * error
    z, sd = half_width(coverage), float(np.sqrt(total))
    n_nested = 0 if units is None else int(units.max()) + 1
    lower_ci, upper_ci = NO_INTERVAL, NO_INTERVAL
    if parts.k >= 4:
        kept = min(parts.k * error**2, total)
        free = (n_nested if units is not None and inner > within else values.size) - parts.k
        variance = _total_interval(kept, total - kept, parts.k - 1, max(free, 1), confidence)
        lower_ci, upper_ci = join_limits(bias, sd, half, z, variance)
    return MixedModelLimits(
        bias=bias,
        bias_se=error,
        bias_ci=(bias - half, bias + half),
        sd=sd,
        variance_between=between,
        variance_nested=inner,
        variance_within=within,
        lower=bias - z * sd,
        lower_ci=lower_ci,
        upper=bias + z * sd,
        upper_ci=upper_ci,
        n_participants=parts.k,
        n_nested=n_nested,
        n_observations=values.size,
        converged=bool(fit.converged),
        coverage=coverage,
        confidence=confidence,
        notes=notes,
        assumptions=(
            (
                "Participants, nested units and differences within them are independent and "
                "normal, with the same spread in every participant."
            ),
            (
                "Participants weigh by what the model makes of their number of differences: the "
                "bias lies between the mean of pairs and the mean of participants' means."
            ),
        ),
    )


def _require_replication(values: Floats, parts: Components) -> None:
    """Refuse data that a random-effects model cannot be fitted to."""
    if parts.k < 2 or parts.counts.max() < 2 or np.ptp(values) == 0:
        raise ValueError(
            f"a mixed model needs 2 participants, repeated differences and some spread; got "
            f"{parts.k} participant(s), at most {parts.counts.max()} difference(s) each."
        )


def _fit(
    values: Floats, codes: NDArray[np.int64], units: NDArray[np.int64] | None
) -> tuple[Any, tuple[str, ...]]:
    """Return the fitted model and what the fit warned of; refuse data it cannot be fitted to."""
    frame = pd.DataFrame({"d": values, "participant": codes})
    extra = {}
    if units is not None:
        frame["unit"] = units
        extra = {"vc_formula": {"unit": "0 + C(unit)"}, "re_formula": "1"}
    from statsmodels.regression.mixed_linear_model import MixedLM  # slow to import

    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        model = MixedLM.from_formula("d ~ 1", groups="participant", data=frame, **extra)
        try:
            fit = model.fit(reml=True, method="powell", ftol=1e-14)
        except np.linalg.LinAlgError as error:
            raise ValueError(
                f"The mixed model cannot be fitted to {values.size} differences of "
                f"{codes.max() + 1} participants ({error}); "
                "`limits_of_agreement` needs no such fit."
            ) from error
    said = tuple(dict.fromkeys(f"Model fit: {warning.message}" for warning in caught))
    return fit, said


def _nested_codes(
    codes: NDArray[np.int64], nested: ArrayLike | Sequence[object] | None, n: int
) -> NDArray[np.int64] | None:
    """Return a code for each unit within its participant."""
    if nested is None:
        return None
    labels = pd.Series(list(np.asarray(nested, dtype=object)), dtype=object)
    if labels.size != n:
        raise ValueError(f"`difference` has {n} values and `nested` {labels.size}.")
    if labels.isna().any():
        raise ValueError(f"`nested` is missing at index {int(np.argmax(labels.isna()))}.")
    pairs = [f"{code}|{label}" for code, label in zip(codes, labels, strict=True)]
    return np.asarray(pd.factorize(np.array(pairs, dtype=object))[0])


def _total_interval(
    kept: float, rest: float, free_kept: int, free_rest: int, confidence: float
) -> Interval:
    """Return the interval of the sum of two variances by MOVER."""
    low_a, high_a = chi_square_shares(free_kept, confidence)
    low_b, high_b = chi_square_shares(free_rest, confidence)
    total = kept + rest
    return (
        float(total - np.hypot(kept * low_a, rest * low_b)),
        float(total + np.hypot(kept * high_a, rest * high_b)),
    )
