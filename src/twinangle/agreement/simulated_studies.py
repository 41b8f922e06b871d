"""Studies of a planned design, simulated: how precise and how honest their limits are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.agreement._quantiles import half_width
from twinangle.agreement._result import Result
from twinangle.agreement.limits import FEWEST_PARTICIPANTS, limits_of_agreement
from twinangle.agreement.planning import check_spread


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedStudies(Result):
    """What simulated studies of a design found.

    Attributes
    ----------
    n_participants, n_cycles, n_studies : int
        The design, and how many studies of it.
    mean_half_width : float
        Mean over studies of half the width of the interval of a limit.
    coverage_of_limit, coverage_of_bias : float
        Share of intervals that hold the true limit (both limits counted) and the true bias.
    standard_error : float
        Monte Carlo standard error of the coverages, at most.
    assumptions : tuple of str
        What was simulated.
    """

    n_participants: int
    n_cycles: int
    n_studies: int
    mean_half_width: float
    coverage_of_limit: float
    coverage_of_bias: float
    standard_error: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        gap = "" if unit in ("", "°", "%") else " "
        return (
            f"{self.n_studies} simulated studies of {self.n_participants} participants and "
            f"{self.n_cycles} cycles: limits known to ± {self.mean_half_width:.2f}{gap}{unit}, "
            f"intervals held the truth in {100 * self.coverage_of_limit:.1f} %."
        )


def simulate_studies(
    n_participants: int,
    n_cycles: int,
    *,
    sd_between: float,
    sd_within: float,
    rng: np.random.Generator,
    n_studies: int = 1000,
    confidence: float = 0.95,
) -> SimulatedStudies:
    """Simulate studies of a design and see how precise, and how honest, their limits are.

    Parameters
    ----------
    n_participants, n_cycles : int
        At least 4 participants and 2 cycles each.
    sd_between, sd_within : float
        Standard deviations of the differences.
    rng : numpy.random.Generator
        Source of the studies.
    n_studies : int, default 1000
        How many.
    confidence : float, default 0.95
        Of the intervals.

    Returns
    -------
    SimulatedStudies

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    if n_participants < FEWEST_PARTICIPANTS or n_cycles < 2 or n_studies < 1:
        raise ValueError(
            f"at least {FEWEST_PARTICIPANTS} participants, 2 cycles and 1 study are needed, got "
            f"{n_participants}, {n_cycles}, {n_studies}."
        )
    total = check_spread(sd_between, sd_within, n_cycles)
    people = np.repeat(np.arange(n_participants), n_cycles)
    truth, widths, hits, bias_hits = half_width(0.95) * total, [], 0, 0
    for _ in range(n_studies):
        level = sd_between * rng.standard_normal(n_participants)
        values = level[people] + sd_within * rng.standard_normal(people.size)
        found = limits_of_agreement(values, people, confidence=confidence)
        widths += [(ci[1] - ci[0]) / 2 for ci in (found.lower_ci, found.upper_ci)]
        hits += found.lower_ci[0] <= -truth <= found.lower_ci[1]
        hits += found.upper_ci[0] <= truth <= found.upper_ci[1]
        bias_hits += found.bias_ci[0] <= 0 <= found.bias_ci[1]
    return SimulatedStudies(
        n_participants=n_participants,
        n_cycles=n_cycles,
        n_studies=n_studies,
        mean_half_width=float(np.mean(widths)),
        coverage_of_limit=hits / (2 * n_studies),
        coverage_of_bias=bias_hits / n_studies,
        standard_error=0.5 / float(np.sqrt(n_studies)),
        assumptions=(
            (
                f"Normal differences, SD {sd_between:g} between and {sd_within:g} within "
                "participants, no serial correlation."
            ),
        ),
    )
