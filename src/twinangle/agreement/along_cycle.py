"""Agreement along the cycle: functional limits, and where two instruments differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._components import variance_components
from twinangle.agreement._from_frame import curves as curves_of
from twinangle.agreement._input import Floats, finite_pair, fraction, read_only
from twinangle.agreement._quantiles import half_width
from twinangle.agreement._result import Result, counted, quantity
from twinangle.agreement.bands import CurveBand, curve_band, participant_means
from twinangle.declare import data, number
from twinangle.sketch import REFERENCE, WEARABLE, sketch_curves

if TYPE_CHECKING:
    import pandas as pd

_ALL_SIGNS = 14  # participants up to which every sign pattern is tried


@dataclass(frozen=True, slots=True, eq=False)
class FunctionalLimits(Result):
    """Limits of agreement at every point of the cycle."""

    bias: Annotated[Floats, data("mean difference test - reference at each point")]
    lower: Annotated[Floats, data("lower limit of agreement for a single cycle at each point")]
    upper: Annotated[Floats, data("upper limit of agreement for a single cycle at each point")]
    sd_between: Annotated[
        Floats,
        data("SD between participants at each point; NaN where the two cannot be told apart"),
    ]
    sd_within: Annotated[
        Floats,
        data("SD within participants at each point; NaN where the two cannot be told apart"),
    ]
    bias_band: Annotated[CurveBand, number("simultaneous band of the true bias curve")]
    participant_band: Annotated[
        CurveBand,
        number("simultaneous band of the mean difference curve of a further participant"),
    ]
    coverage: Annotated[float, number("share of cycles between the limits at each point")]
    confidence: Annotated[float, number("confidence of the bands")]
    n_participants: Annotated[int, number("participants")]
    n_curves: Annotated[int, number("cycles")]
    assumptions: Annotated[tuple[str, ...], number("what the limits rest on")]

    def _sketch(self) -> str:
        curves = [("bias", self.bias, WEARABLE), ("lower", self.lower, REFERENCE)]
        curves.append(("upper", self.upper, REFERENCE))
        return sketch_curves(curves, "Bias and limits over the cycle")

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        low, high = float(self.lower.min()), float(self.upper.max())
        return (
            f"Along the cycle the bias ran from {quantity(float(self.bias.min()), unit)} to "
            f"{quantity(float(self.bias.max()), unit)} and the pointwise limits of agreement "
            f"reached {quantity(low, unit)} and {quantity(high, unit)}; {self.n_curves} cycles of "
            f"{counted(self.n_participants, 'participant')}."
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row a point, unrounded."""
        import pandas as pd

        names = ("bias", "lower", "upper", "sd_between", "sd_within")
        frame = {name: getattr(self, name) for name in names}
        for name, band in (("bias", self.bias_band), ("participant", self.participant_band)):
            frame |= {f"{name}_band_lower": band.lower, f"{name}_band_upper": band.upper}
        return pd.DataFrame(frame)


def functional_limits(
    test: ArrayLike,
    reference: ArrayLike,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    coverage: float = 0.95,
    data: pd.DataFrame | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> FunctionalLimits:
    """Estimate limits of agreement at every point of the cycle.

    Parameters
    ----------
    test, reference : array_like of float, shape (n_cycles, n_points)
        Curves of the same cycles.
    participant : array_like, shape (n_cycles,), optional
        Whose cycle each is; None: one a participant.
    confidence, coverage : float, default 0.95
        Of the bands, and of the limits at each point.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns.
    cycle, point : str
        Its columns of the cycle (or several that tell cycles apart) and of the point within it.

    Returns
    -------
    FunctionalLimits

    Raises
    ------
    ValueError
        If there are fewer than 4 participants, the shapes differ, or a value is missing or
        infinite.

    Notes
    -----
    At each point the form "participant-means" of `limits_of_agreement`: every participant counts
    the same, sd² = var(d_i) + mean((1 - 1/n_i) s_i²). The limits hold point by point, the bands
    (`curve_band`) along the whole curve.

    References
    ----------
    .. [1] Røislien et al. (2012). Gait Posture 36, 495-499.
    """
    test, reference, participant = curves_of(
        data, cycle, point, participant=participant, test=test, reference=reference
    )
    test, reference = finite_pair(test, reference, ndim=2, min_rows=2, participant=participant)
    fraction(coverage, "coverage")
    difference = test - reference
    bands = [
        curve_band(difference, participant, target=target, confidence=confidence)
        for target in ("mean", "new-participant")
    ]
    parts = variance_components(difference[:, 0], participant)
    means, n_curves = participant_means(difference, participant, fewest=4)
    squares = np.zeros_like(means)
    np.add.at(squares, parts.codes, (difference - means[parts.codes]) ** 2)
    own = squares / np.maximum(parts.counts - 1, 1)[:, None]
    total = means.var(axis=0, ddof=1) + ((1 - 1 / parts.counts) @ own) / parts.k
    repeated = parts.counts > 1
    within = own[repeated].mean(axis=0) if repeated.any() else np.full(means.shape[1], np.nan)
    centre, reach = means.mean(axis=0), half_width(coverage) * np.sqrt(total)
    return FunctionalLimits(
        bias=read_only(centre),
        lower=read_only(centre - reach),
        upper=read_only(centre + reach),
        sd_between=read_only(np.sqrt(np.maximum(total - within, 0))),
        sd_within=read_only(np.sqrt(within)),
        bias_band=bands[0],
        participant_band=bands[1],
        coverage=coverage,
        confidence=confidence,
        n_participants=parts.k,
        n_curves=n_curves,
        assumptions=(
            "The limits hold at each point by itself; a whole curve leaves them more often.",
            *bands[1].assumptions,
        ),
    )


@dataclass(frozen=True, slots=True, eq=False)
class CurveDifference(Result):
    """Where along the cycle two instruments differ, the whole cycle tested as one family."""

    difference: Annotated[Floats, data("mean over participants of test - reference")]
    statistic: Annotated[Floats, number("Student's t of the difference at each point")]
    p_adjusted: Annotated[Floats, number("p values that hold for the whole cycle at once")]
    regions: Annotated[
        tuple[tuple[int, int], ...],
        number("first and last point of each run with p_adjusted below alpha"),
    ]
    critical: Annotated[
        float,
        number("value that abs(statistic) exceeds somewhere with probability at most alpha"),
    ]
    alpha: Annotated[float, number("family-wise error")]
    smallest_p: Annotated[float, number("the smallest p value that so few participants can give")]
    n_participants: Annotated[int, number("participants")]
    n_patterns: Annotated[int, number("sign patterns tried")]
    assumptions: Annotated[tuple[str, ...], number("what the test rests on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded; regions in points of the cycle."""
        if self.smallest_p > self.alpha:
            return (
                f"{counted(self.n_participants, 'participant')} cannot show a difference at "
                f"{self.alpha:g}: the smallest possible p is {self.smallest_p:.3f}."
            )
        where = ", ".join(f"{a} to {b}" for a, b in self.regions) or "nowhere"
        return (
            f"The instruments differed (family-wise error {self.alpha:g}) at points: {where}; "
            f"largest mean difference {quantity(float(np.abs(self.difference).max()), unit)}."
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row a point, unrounded."""
        import pandas as pd

        names = ("difference", "statistic", "p_adjusted")
        return pd.DataFrame({name: getattr(self, name) for name in names})


def difference_along_cycle(
    test: ArrayLike,
    reference: ArrayLike,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    rng: np.random.Generator,
    alpha: float = 0.05,
    n_patterns: int = 10_000,
    data: pd.DataFrame | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> CurveDifference:
    """Find where along the cycle two instruments differ, by a permutation of signs.

    Parameters
    ----------
    test, reference : array_like of float, shape (n_cycles, n_points)
        Curves of the same cycles.
    participant : array_like, shape (n_cycles,), optional
        Whose cycle each is; None: one a participant.
    rng : numpy.random.Generator
        Source of the sign patterns, where not all are tried.
    alpha : float, default 0.05
        Family-wise error over the whole cycle.
    n_patterns : int, default 10000
        Random patterns where there are more than 14 participants.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns.
    cycle, point : str
        Its columns of the cycle (or several that tell cycles apart) and of the point within it.

    Returns
    -------
    CurveDifference

    Raises
    ------
    ValueError
        If there are fewer than 4 participants, the shapes differ, a value is missing or infinite,
        or an option is out of range.

    Notes
    -----
    If the instruments agree, the sign of a participant's mean difference curve is arbitrary. The
    largest abs(t) over the points under all sign patterns (or random ones with the observed
    added) is the reference distribution of every point [1]_.

    References
    ----------
    .. [1] Nichols & Holmes (2002). Hum Brain Mapp 15, 1-25.
    """
    test, reference, participant = curves_of(
        data, cycle, point, participant=participant, test=test, reference=reference
    )
    test, reference = finite_pair(test, reference, ndim=2, min_rows=2, participant=participant)
    alpha = fraction(alpha, "alpha")
    if n_patterns < 100:
        raise ValueError(f"`n_patterns` must be at least 100, got {n_patterns!r}.")
    means, _ = participant_means(test - reference, participant, fewest=4)
    signs = _sign_patterns(means.shape[0], n_patterns, rng)
    statistic = _t_of_signs(np.ones((1, means.shape[0])), means)[0]
    t = _t_of_signs(signs, means)
    largest = np.sort(np.abs(t, out=t).max(axis=1))
    del t, signs
    # A tie within rounding counts as reached.
    reached = largest.size - np.searchsorted(largest, np.abs(statistic) * (1 - 1e-9))
    p_adjusted = reached / largest.size
    return CurveDifference(
        difference=read_only(means.mean(axis=0)),
        statistic=read_only(statistic),
        p_adjusted=read_only(p_adjusted),
        regions=_runs(p_adjusted <= alpha),
        critical=float(np.quantile(largest, 1 - alpha, method="higher")),
        alpha=alpha,
        smallest_p=1 / largest.size,
        n_participants=means.shape[0],
        n_patterns=largest.size,
        assumptions=(
            (
                "Participants are independent; under agreement their difference curves are "
                "symmetric about zero."
            ),
            "A point outside every region is not shown to agree.",
        ),
    )


def _sign_patterns(k: int, n: int, rng: np.random.Generator) -> Floats:
    """Return the sign patterns up to a common sign, the observed one first."""
    if k <= _ALL_SIGNS:
        # abs(t) is the same for a pattern and its opposite, so the first sign stays.
        return np.array([(1, *rest) for rest in product((1.0, -1.0), repeat=k - 1)])
    patterns = rng.choice([1.0, -1.0], size=(n, k))
    return np.vstack([np.ones(k), patterns])


def _t_of_signs(signs: Floats, means: Floats) -> Floats:
    """Return Student's t at each point for each sign pattern."""
    k = means.shape[0]
    t: Floats = signs @ means  # the largest arrays of a pooled run: in place from here on
    t /= k
    error = t**2
    error *= -k
    error += (means**2).sum(axis=0)
    np.maximum(error, 0, out=error)
    error /= k - 1
    error /= k
    with np.errstate(divide="ignore", invalid="ignore"):
        t /= np.sqrt(error, out=error)
    t[np.isnan(t)] = 0.0
    return t


def _runs(inside: NDArray[np.bool_]) -> tuple[tuple[int, int], ...]:
    """Return first and last index of each run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    return tuple((int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True))
