"""How often the rule for curve outliers drops an ordinary cycle, and finds a stumble.

    python benchmarks/curve_outliers.py              # 1000 walks of each length

Invented knee curves whose swing peak varies from cycle to cycle, the hardest case for the rule:
with variation of one shape the distance to the median curve is as skewed as it can be. A stumble
has 45 % less flexion than the mean curve. Prints, for normal variation and for heavier tails
(Student's t with 5 degrees of freedom), the share of ordinary cycles dropped, of walks that lose
one, and of stumbles found.
"""

from __future__ import annotations

import argparse

import numpy as np
from numpy.typing import NDArray

from twinangle.cycles.exclude import outlying_curves

PHASE = np.linspace(0.0, 1.0, 101)
SWING = np.exp(-0.5 * ((PHASE - 0.72) / 0.09) ** 2)
KNEE = 3.0 + 14.0 * np.exp(-0.5 * ((PHASE - 0.14) / 0.06) ** 2) + 59.0 * SWING
SWING_SD_DEG = 4.0


def dropped(curves: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which curves of one bout the rule leaves out."""
    n = len(curves)
    reasons = outlying_curves(curves, np.ones(n, dtype=np.int64), np.ones(n, dtype=bool), "knee")
    return np.array([bool(reason) for reason in reasons])


def one_walk(rng: np.random.Generator, n: int, freedom: float) -> tuple[int, bool]:
    """Ordinary cycles dropped of n, and whether a stumble among them is found."""
    size = rng.standard_t(freedom, n) / np.sqrt(freedom / (freedom - 2))
    curves = KNEE + SWING_SD_DEG * size[:, None] * SWING + 0.3 * rng.standard_normal((n, 1))
    stumble = curves.copy()
    stumble[n // 2] = 3.0 + 0.55 * (KNEE - 3.0)
    return int(dropped(curves).sum()), bool(dropped(stumble)[n // 2])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--walks", type=int, default=1000)
    options = parser.parse_args()
    for name, freedom in (("normal", 1e6), ("heavy tails", 5.0)):
        for n in (12, 50, 150):
            rng = np.random.default_rng(n)
            walks = [one_walk(rng, n, freedom) for _ in range(options.walks)]
            lost = np.array([count for count, _ in walks])
            found = np.mean([hit for _, hit in walks])
            print(
                f"{name:12s} {n:4d} cycles: {100 * lost.sum() / (n * len(walks)):.3f} % of "
                f"ordinary cycles dropped, in {100 * (lost > 0).mean():.1f} % of walks; "
                f"stumbles found {100 * found:.1f} %"
            )


if __name__ == "__main__":
    main()
