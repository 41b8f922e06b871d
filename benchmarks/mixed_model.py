"""The closed form of the mixed model's likelihood against statsmodels: failures, fit and time.

    python benchmarks/mixed_model.py --studies 200

fits the same simulated studies (participants, sessions nested in them, unequal numbers of cycles)
by `mixed_model_limits`, which looks at the closed form of the restricted likelihood, and by
statsmodels from its own start, and prints for every design how often statsmodels broke off with an
error, did not report convergence, or ended at a lower likelihood than ours (and ours at a lower
one than statsmodels), and the ratio of the times. All data are simulated.
"""

from __future__ import annotations

import argparse
import time
import warnings

import numpy as np
from coverage_studies import nested_differences
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

from twinangle.agreement._reml import fit_at, fit_reml, nested_sums

SPREADS = {
    "participants most": (2.0, 1.0, 0.7),
    "sessions most": (0.5, 1.5, 0.7),
    "cycles most": (0.5, 0.5, 1.5),
}
SAME = 0.01  # of the deviance, -2 times the log-likelihood


def by_statsmodels(
    values: np.ndarray, people: np.ndarray, units: np.ndarray
) -> tuple[np.ndarray, bool]:
    """Return both variance ratios, and whether the search converged."""
    columns, names = [], []
    for person in np.unique(people):
        labels, own = np.unique(units[people == person], return_inverse=True)
        columns.append(np.eye(labels.size)[own])
        names.append([str(label) for label in labels])
    ones = np.ones((values.size, 1))
    nested = VCSpec(["unit"], [names], [columns])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = MixedLM(values, ones, groups=people, exog_re=ones, exog_vc=nested).fit(reml=True)
    ratios = np.array([float(np.asarray(fit.cov_re)[0, 0]), float(fit.vcomp[0])]) / fit.scale
    return ratios, bool(fit.converged)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--studies", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print(f"{'':34s}{'error':>8s}{'not conv.':>11s}{'lower':>8s}{'ours lower':>12s}{'time':>8s}")
    for number, (name, sds) in enumerate(SPREADS.items()):
        for k in (6, 20):
            rng = np.random.default_rng([options.seed, number, k])
            row = _compared(rng, options.studies, k, sds)
            print(f"{f'{name}, {k} participants':34s}" + row, flush=True)


def _compared(
    rng: np.random.Generator, studies: int, k: int, sds: tuple[float, float, float]
) -> str:
    """Return one row of the table."""
    errors = stuck = lower = ours_lower = 0
    own_time = other_time = 0.0
    for _ in range(studies):
        values, people, units = nested_differences(rng, k, sds, (1, 3), (5, 60), 0.0)
        start = time.perf_counter()
        sums = nested_sums(values, people, units)
        ours = fit_reml(sums)
        middle = time.perf_counter()
        try:
            ratios, converged = by_statsmodels(values, people, units)
        except np.linalg.LinAlgError:
            errors += 1
            continue
        finally:
            own_time += middle - start
            other_time += time.perf_counter() - middle
        stuck += not converged
        # a variance a hair below 0 is its 0
        gap = fit_at(sums, np.maximum(ratios, 0)).deviance - ours.deviance
        lower += gap > SAME
        ours_lower += gap < -SAME
    shares = [100 * count / studies for count in (errors, stuck, lower, ours_lower)]
    return (
        f"{shares[0]:7.1f}%{shares[1]:10.1f}%{shares[2]:7.1f}%{shares[3]:11.1f}%"
        f"{other_time / own_time:7.0f}x"
    )


if __name__ == "__main__":
    main()
