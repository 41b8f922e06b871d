"""Speed of bands and of many limits against plain loops, as ratios.

    python benchmarks/agreement_speed.py

Two comparisons, run side by side and printed: a whole-curve bootstrap band (10 000 resamples,
20 participants x 50 cycles x 101 points) against a plain numpy loop over resamples, and limits of
agreement of 1000 quantities against one general-purpose mixed model fit (statsmodels) after
another. The loops run a tenth or a hundredth of the work and are scaled up.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from twinangle.agreement import bootstrap_curve_band, limits_of_agreement, limits_of_many


def seconds(action: Callable[[], object], repeats: int = 3) -> float:
    """Return the shortest of some runs."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def plain_loop(curves: np.ndarray, n_resamples: int, rng: np.random.Generator) -> float:
    """Return the same band's half-width by a loop over resamples, participants, cycles."""
    k, n, _ = curves.shape
    means = curves.mean(axis=1)
    centre, largest = means.mean(axis=0), []
    for _ in range(n_resamples):
        who = rng.integers(0, k, k)
        drawn = np.array([curves[i, rng.integers(0, n, n)].mean(axis=0) for i in who])
        error = drawn.std(axis=0, ddof=1) / np.sqrt(k)
        largest.append(np.max(np.abs(drawn.mean(axis=0) - centre) / error))
    return float(np.quantile(largest, 0.95))


def main() -> None:
    rng = np.random.default_rng(1)
    curves = rng.standard_normal((20, 50, 101)).cumsum(axis=2)
    people = np.repeat(np.arange(20), 50)
    ours = seconds(lambda: bootstrap_curve_band(curves.reshape(-1, 101), people, rng=rng))
    loop = 10 * seconds(lambda: plain_loop(curves, 1000, rng), repeats=1)
    print(f"band, 10000 resamples: {ours:.2f} s, plain loop {loop:.1f} s, ratio {ours / loop:.3f}")

    values = rng.standard_normal((20, 1000))[people] + rng.standard_normal((1000, 1000))
    many = seconds(lambda: limits_of_many(values, people))
    single = 10 * seconds(
        lambda: [limits_of_agreement(values[:, i], people) for i in range(100)], repeats=1
    )

    def general() -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for i in range(10):
                MixedLM(values[:, i], np.ones((1000, 1)), groups=people).fit()

    mixed = 100 * seconds(general, repeats=1)
    print(
        f"limits of 1000 quantities: {many:.3f} s; one `limits_of_agreement` after another "
        f"{single:.1f} s ({single / many:.0f} times), one mixed model after another {mixed:.0f} s "
        f"({mixed / many:.0f} times)"
    )


if __name__ == "__main__":
    main()
