"""How many participants test and retest over sessions needs, by simulating its own interval."""

from __future__ import annotations

import numpy as np

from twinangle.agreement._input import fraction
from twinangle.agreement._quantiles import chi_square, half_width
from twinangle.agreement.planning import MOST_PARTICIPANTS, SampleSize, smallest
from twinangle.agreement.simulated_studies import STUDIES
from twinangle.checks import require_positive

FEWEST = 3  # participants, as `analysis` asks of reliability


def participants_for_sem(
    precision: float,
    *,
    sem: float,
    n_sessions: int,
    rng: np.random.Generator,
    assurance: float = 0.8,
    confidence: float = 0.95,
    n_studies: int = STUDIES,
) -> SampleSize:
    """Find the participants whose standard error of measurement has a narrow enough interval.

    Parameters
    ----------
    precision : float
        Half the width of the interval wanted, in the unit of the values. The minimal detectable
        change has an interval z √2 times as wide.
    sem : float
        Standard error of measurement that is expected.
    n_sessions : int
        Sessions a participant, 2 or more.
    rng : numpy.random.Generator
        Source of the simulated studies.
    assurance : float, default 0.8
        Probability wanted that the half-width turns out at most `precision`.
    confidence : float, default 0.95
        Of the interval.
    n_studies : int, default 4000
        Simulated studies.

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range, or more than 1000 participants would be needed.

    Notes
    -----
    The interval is that of `measurement_error`, without the shift between sessions. The error sum
    of squares of n participants in k sessions is a sum of n - 1 independent terms, each SEM² times
    chi-squared on k - 1 degrees of freedom, so that studies grow by participants and share their
    random numbers. Planning for the expected width would leave about half of the studies with a
    wider one (Kupper & Hafner 1989).
    """
    require_positive(precision, "precision")
    require_positive(sem, "sem")
    confidence, assurance = fraction(confidence, "confidence"), fraction(assurance, "assurance")
    if n_sessions < 2 or n_studies < 1:
        raise ValueError(
            f"`n_sessions` must be 2 or more and `n_studies` 1 or more, got {n_sessions!r} and "
            f"{n_studies!r}."
        )
    sums = np.zeros((1, n_studies))

    def reached(n: int) -> float:
        nonlocal sums
        if len(sums) < n:
            more = sem**2 * rng.chisquare(n_sessions - 1, (n - len(sums), n_studies))
            sums = np.concatenate([sums, sums[-1] + np.cumsum(more, axis=0)])
        df = (n - 1) * (n_sessions - 1)
        low, high = (chi_square((1 + sign * confidence) / 2, df) for sign in (1, -1))
        width = np.sqrt(sums[n - 1]) * (1 / np.sqrt(high) - 1 / np.sqrt(low))
        return float(np.mean(width <= 2 * precision))

    n = smallest(lambda k: reached(k) >= assurance, FEWEST, MOST_PARTICIPANTS, "participants")
    share, change = reached(n), float(np.sqrt(2)) * half_width(confidence)
    return SampleSize(
        aim=(
            f"a {100 * confidence:g} % interval of the standard error of measurement over "
            f"{n_sessions} sessions (of the minimal detectable change {change:.3g} times as wide) "
            "of at most ± "
        ),
        target=precision,
        n=n,
        unit_counted="participants",
        wanted=assurance,
        reached=share,
        standard_error=float(np.sqrt(share * (1 - share) / n_studies)),
        assumptions=(
            (
                f"Simulated: normal errors with SD {sem:g} from session to session, the same in "
                "everyone; a shift common to all is not counted."
            ),
        ),
    )
