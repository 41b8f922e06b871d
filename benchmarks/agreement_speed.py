"""Speed of the limits of many studies at once, as ratios.

    python benchmarks/agreement_speed.py

Limits of agreement of 1000 studies of 20 participants x 50 cycles, on arrays as simulations call
it, against one public call and one general-purpose mixed model fit (statsmodels) after another, run
side by side. The loops run a tenth or a hundredth of the work and are scaled up.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from twinangle.agreement import limits_of_agreement
from twinangle.agreement._participants import limits_over_participants


def seconds(action: Callable[[], object], repeats: int = 3) -> float:
    """Return the shortest of some runs."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    rng = np.random.default_rng(1)
    people = np.repeat(np.arange(20), 50)
    values = rng.standard_normal((20, 1000))[people] + rng.standard_normal((1000, 1000))

    def together() -> None:
        cycles = values.reshape(20, 50, 1000)
        means, shrunk = cycles.mean(axis=1), cycles.var(axis=1)
        limits_over_participants(means, shrunk, 0.95, 1.959964)

    many = seconds(together)
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
        f"limits of 1000 studies: {many:.3f} s; one `limits_of_agreement` after another "
        f"{single:.1f} s ({single / many:.0f} times), one mixed model after another {mixed:.0f} s "
        f"({mixed / many:.0f} times)"
    )


if __name__ == "__main__":
    main()
