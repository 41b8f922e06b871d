"""Differences of mean curves over participants, each with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._from_frame import by_trial, only_with_table
from twinangle.agreement._input import Floats, fraction, read_only
from twinangle.agreement._participants import log_mean_interval
from twinangle.agreement._people import FEWEST_PEOPLE, mean_and_interval, people_notes
from twinangle.agreement._result import Interval, Result, counted, interval, quantity
from twinangle.agreement.curves import CurveAgreement, compare_curves
from twinangle.declare import data, number

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class PooledCurves(Result):
    """Means over participants of what `compare_curves` gives for their trials."""

    offset: Annotated[float, data("mean over participants of the offset of the mean curves")]
    offset_ci: Interval
    offset_sd: Annotated[float, data("SD over participants of the offset; NaN with one")]
    rms_demeaned: Annotated[
        float,
        data("mean over participants of the RMS of the demeaned mean curves' difference"),
    ]
    rms_demeaned_ci: Interval
    mad_demeaned: Annotated[
        float,
        data("mean over participants of the median absolute difference of the demeaned curves"),
    ]
    mad_demeaned_ci: Interval
    range_difference: Annotated[
        float,
        data("mean over participants of the mean curves' difference of range"),
    ]
    range_difference_ci: Interval
    range_difference_sd: Annotated[
        float,
        data("SD over participants of the difference of range; NaN with one"),
    ]
    correlation: Annotated[
        float,
        number(
            "mean over participants of the mean curves' correlation, on Fisher's z scale; "
            "NaN when somebody's is undefined, 1 or -1"
        ),
    ]
    correlation_ci: Interval
    test_mean: Annotated[Floats, data("mean over participants of their mean test curves")]
    test_sd: Annotated[Floats, data("SD over participants of the test curve; NaN with one")]
    reference_mean: Annotated[Floats, data("mean over participants of their reference curves")]
    reference_sd: Annotated[
        Floats, data("SD over participants of the reference curve; NaN with one")
    ]
    n_participants: Annotated[int, number("participants")]
    n_trials: Annotated[int, number("trials")]
    confidence: Annotated[float, number("confidence of the intervals")]
    notes: Annotated[tuple[str, ...], number("what to know before the numbers are used")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        ci = [
            interval(bounds, unit, self.confidence)
            for bounds in (
                self.offset_ci,
                self.rms_demeaned_ci,
                self.mad_demeaned_ci,
                self.range_difference_ci,
            )
        ]
        return (
            f"Over {counted(self.n_participants, 'participant')} the mean curves were offset by "
            f"{quantity(self.offset, unit)} ({ci[0]}), differed by "
            f"{quantity(self.rms_demeaned, unit)} RMS once demeaned (arithmetic mean; {ci[1]}), "
            f"{quantity(self.mad_demeaned, unit)} at half of their points at most ({ci[2]}), and "
            f"by {quantity(self.range_difference, unit)} in range ({ci[3]}); "
            f"{counted(self.n_trials, 'trial')}."
        )


def pool_curves(
    agreements: Sequence[CurveAgreement] | None = None,
    participant: ArrayLike | Sequence[object] | str | None = None,
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
    test: str | None = None,
    reference: str | None = None,
    trial: str | Sequence[str] | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> PooledCurves:
    """Average the differences of mean curves over participants.

    Parameters
    ----------
    agreements : sequence of CurveAgreement
        One a trial; left out with `data`.
    participant : array_like, shape (n_trials,)
        Whose each is; a participant's trials are averaged first. With `data`: a column.
    confidence : float, default 0.95
        Of the intervals.
    data : DataFrame, optional
        A table with one row a point, whose trials :func:`compare_curves` compares.
    test, reference : str, optional
        Its columns of the two instruments.
    trial : str or sequence of str, optional
        Its columns that tell a participant's trials apart; without them, each has one.
    cycle, point : str
        Its columns of the cycle (or several that tell a trial's cycles apart) and of the point
        within it.

    Returns
    -------
    PooledCurves

    Raises
    ------
    ValueError
        If there is none, the lengths differ, the curves have different numbers of points, a
        participant is missing, or `confidence` is not between 0 and 1.

    Notes
    -----
    The mean curves are means over participants at each point, the SDs (n - 1) theirs over
    participants.

    Student's t over the k participants' means, k - 1 degrees of freedom: of the offset and of the
    difference of ranges as they are, and of arctanh(correlation) [1]_, back-transformed.

    The RMS is above 0 and skewed over people. Its mean is the arithmetic one, as in every table
    of this package, because papers report that one and because the mean of paired differences is
    then the difference of the means, which a geometric mean does not give; its interval is the
    mean × exp(∓ t e) of `pool_budgets`. Two participants have no interval: Student's t of one
    degree of freedom says next to nothing, and their own values stand in the notes.
    `benchmarks/coverage.py` shows what the intervals hold. Mean and interval of the median absolute
    deviation, likewise above 0 and skewed, are the same; what that interval holds has not been
    simulated.

    References
    ----------
    .. [1] Fisher (1921). Metron 1, 3-32.
    """
    import pandas as pd

    confidence = fraction(confidence, "confidence")
    only_with_table(data, "agreements", test=test, reference=reference, trial=trial)
    if data is not None:
        if agreements is not None:
            raise ValueError("give `agreements`, or `data` with `test` and `reference`, not both.")
        parts = by_trial(data, trial, participant=participant, test=test, reference=reference)
        participant = [code for code, _ in parts]
        how: dict[str, Any] = {"cycle": cycle, "point": point, "confidence": confidence}
        both: tuple[Any, Any] = (test, reference)
        agreements = [compare_curves(*both, data=part, **how) for _, part in parts]
    if agreements is None or participant is None:
        raise ValueError("give `agreements` and `participant`, or `data` with names of columns.")
    people = participants_of(participant, len(agreements), "agreements")
    with np.errstate(divide="ignore"):
        columns = {
            "offset": [one.offset for one in agreements],
            "rms": [one.rms_demeaned for one in agreements],
            "mad": [one.mad_demeaned for one in agreements],
            "range": [one.range_difference for one in agreements],
            "z": np.arctanh([one.correlation for one in agreements]),
        }
    # an infinite z stays what it is; NaN where two of a participant's cancel
    with np.errstate(invalid="ignore"):
        means = pd.DataFrame(columns).groupby(people, sort=False).mean()
    found = {name: mean_and_interval(means[name].to_numpy(), confidence) for name in columns}
    rms, mad, z = means["rms"].to_numpy(), means["mad"].to_numpy(), found["z"]
    spread = means[["offset", "range"]].std(ddof=1)
    of_test = _mean_and_sd([one.test_mean for one in agreements], people)
    of_reference = _mean_and_sd([one.reference_mean for one in agreements], people)
    return PooledCurves(
        offset=found["offset"][0],
        offset_ci=found["offset"][1],
        offset_sd=float(spread["offset"]),
        rms_demeaned=float(rms.mean()),
        rms_demeaned_ci=log_mean_interval(rms, confidence, fewest=FEWEST_PEOPLE),
        mad_demeaned=float(mad.mean()),
        mad_demeaned_ci=log_mean_interval(mad, confidence, fewest=FEWEST_PEOPLE),
        range_difference=found["range"][0],
        range_difference_ci=found["range"][1],
        range_difference_sd=float(spread["range"]),
        correlation=float(np.tanh(z[0])),
        correlation_ci=(float(np.tanh(z[1][0])), float(np.tanh(z[1][1]))),
        test_mean=of_test[0],
        test_sd=of_test[1],
        reference_mean=of_reference[0],
        reference_sd=of_reference[1],
        n_participants=len(means),
        n_trials=len(agreements),
        confidence=confidence,
        notes=people_notes(
            len(means), {"offset": means["offset"], "RMS of the demeaned curves": rms}
        ),
        assumptions=(
            "Participants are independent, each counting once with the mean of their trials.",
            (
                "Offsets, differences of range of motion and Fisher's z of the correlations are "
                "normal over participants; RMS values and median absolute deviations are above 0 "
                "and may be skewed."
            ),
        ),
    )


def _mean_and_sd(curves: Sequence[Floats], people: NDArray[np.object_]) -> tuple[Floats, Floats]:
    """Return mean and SD over participants at each point; trials of one are averaged first."""
    import pandas as pd

    if len({curve.size for curve in curves}) > 1:
        raise ValueError("`agreements`: the mean curves have different numbers of points.")
    own = pd.DataFrame(np.stack(curves)).groupby(people, sort=False).mean().to_numpy()
    alone = own.shape[0] == 1
    sd = np.full(own.shape[1], np.nan) if alone else own.std(axis=0, ddof=1)
    return read_only(own.mean(axis=0)), read_only(sd)


def participants_of(
    participant: ArrayLike | Sequence[object], n: int, name: str
) -> NDArray[np.object_]:
    """Return whose each of n trials is.

    Raises
    ------
    ValueError
        If there are no trials, the lengths differ, or a participant is missing.
    """
    import pandas as pd

    people = pd.Series(list(np.asarray(participant, dtype=object)), dtype=object)
    if n == 0 or people.size != n:
        raise ValueError(
            f"`{name}` has {n} trial(s) and `participant` {people.size}; at least one is needed, "
            "each with its participant."
        )
    if people.isna().any():
        raise ValueError(f"`participant` is missing at index {int(np.argmax(people.isna()))}.")
    return np.asarray(people.to_numpy(), dtype=np.object_)
