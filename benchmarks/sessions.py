"""How often the intervals of test and retest hold the truth, and the limits with sessions in them.

    python benchmarks/sessions.py --studies 2000

prints two tables. The first: simulated studies of n people in k sessions, true SD between people 3,
from session to session 1, and a shift of the whole session (SD 0, 0.5 or 1) that all people share;
the shares of studies whose 95 % intervals held the true ICC(2,1), ICC(3,1), SEM, and SEM with the
shift, beside the last by Satterthwaite's degrees of freedom, which is common. The second: limits of
agreement over people whose differences also vary from session to session, beside limits that take
every cycle for one of another person. All data are simulated.
"""

from __future__ import annotations

import argparse
import itertools

import numpy as np
from scipy import stats

from twinangle.agreement import intraclass_correlations, limits_of_agreement, measurement_error

BETWEEN, SHIFTS = 3.0, (0.0, 0.5, 1.0)
SIZES = tuple(itertools.product((6, 12, 24), (2, 3, 4)))
Z = float(stats.norm.ppf(0.975))


def satterthwaite(scores: np.ndarray) -> tuple[float, float]:
    """Return the interval of the SEM with the shift by matched moments."""
    n, k = scores.shape
    columns = n * scores.mean(axis=0).var(ddof=1)
    residual = scores - scores.mean(axis=1, keepdims=True) - scores.mean(axis=0) + scores.mean()
    error = (residual**2).sum() / ((n - 1) * (k - 1))
    parts = columns / n, error * (1 - 1 / n)
    df = sum(parts) ** 2 / (parts[0] ** 2 / (k - 1) + parts[1] ** 2 / ((n - 1) * (k - 1)))
    low, high = (float(np.sqrt(sum(parts) * df / stats.chi2.ppf(p, df))) for p in (0.975, 0.025))
    return low, high


def retest_cell(
    rng: np.random.Generator, studies: int, n: int, k: int, shift: float
) -> dict[str, float]:
    """Return the shares of studies whose intervals held the truth."""
    whole = 1 + shift**2
    truth = {
        "ICC(2,1)": BETWEEN**2 / (BETWEEN**2 + whole),
        "ICC(3,1)": BETWEEN**2 / (BETWEEN**2 + 1),
        "SEM": 1.0,
        "SEM, shift": whole**0.5,
        "Satterthwaite": whole**0.5,
    }
    held = dict.fromkeys(truth, 0)
    for _ in range(studies):
        scores = (
            BETWEEN * rng.standard_normal((n, 1))
            + shift * rng.standard_normal(k)
            + rng.standard_normal((n, k))
        )
        forms = {one.form: one.value_ci for one in intraclass_correlations(scores)}
        error = measurement_error(scores)
        found = {
            "ICC(2,1)": forms["ICC(2,1)"],
            "ICC(3,1)": forms["ICC(3,1)"],
            "SEM": error.sem_ci,
            "SEM, shift": error.sem_agreement_ci,
            "Satterthwaite": satterthwaite(scores),
        }
        for name, (low, high) in found.items():
            held[name] += low <= truth[name] <= high
    return {name: count / studies for name, count in held.items()}


def limits_cell(
    rng: np.random.Generator, studies: int, n: int, sessions: int, spread: float
) -> dict[str, float]:
    """Return the shares of studies whose intervals of the limits held the truth."""
    cycles, reach = 20, Z * float(np.sqrt(1 + spread**2 + 1))
    people = np.repeat(np.arange(n), sessions * cycles)
    held = {"over people": 0, "every cycle its own": 0}
    width = 0.0
    for _ in range(studies):
        values = (
            rng.standard_normal((n, 1, 1))
            + spread * rng.standard_normal((n, sessions, 1))
            + rng.standard_normal((n, sessions, cycles))
        ).ravel()
        for name, whose in (("over people", people), ("every cycle its own", None)):
            found = limits_of_agreement(values, whose)
            held[name] += found.lower_ci[0] <= -reach <= found.lower_ci[1]
            held[name] += found.upper_ci[0] <= reach <= found.upper_ci[1]
            width += found.sd / studies if whose is people else 0.0
    return {name: count / (2 * studies) for name, count in held.items()} | {
        "mean SD / true": width * Z / reach
    }


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=2000)
    studies = parser.parse_args().studies
    print(
        f"{studies} studies a row; standard error of a share {50 * (0.19 / studies) ** 0.5:.1f} %"
    )
    for row, ((n, k), shift) in enumerate(itertools.product(SIZES, SHIFTS)):
        found = retest_cell(np.random.default_rng([31, row]), studies, n, k, shift)
        shares = "  ".join(f"{name} {100 * share:5.1f}" for name, share in found.items())
        print(f"{n:3d} people, {k} sessions, shift {shift:3.1f}:  {shares}")
    for row, (n, sessions, spread) in enumerate(
        itertools.product((6, 12, 24), (2, 3), (0.0, 1.0, 2.0))
    ):
        found = limits_cell(np.random.default_rng([32, row]), studies, n, sessions, spread)
        ratio = found.pop("mean SD / true")
        shares = "  ".join(f"{name} {100 * share:5.1f}" for name, share in found.items())
        print(
            f"limits, {n:3d} people, {sessions} sessions of 20 cycles, session SD {spread:3.1f}:  "
            f"{shares}  mean SD / true {ratio:.3f}"
        )


if __name__ == "__main__":
    main()
