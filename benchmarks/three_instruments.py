"""How often the intervals of three instruments' errors hold the truth, over simulated studies.

python benchmarks/three_instruments.py [STUDIES]
"""

from __future__ import annotations

import sys

import numpy as np

from twinangle.agreement import three_instrument_errors

SDS = (1.0, 0.5, 1.0)  # of the errors of wearable and references
CYCLES = 5
BETWEEN = 0.5  # share of each variance that is constant within a participant


def held(people: int, studies: int, rng: np.random.Generator) -> tuple[float, float]:
    """Return how often the intervals hold var(e_W), and the share that the third explains."""
    who = np.repeat(np.arange(people), CYCLES)
    truth = SDS[0] ** 2, SDS[2] ** 2 / (SDS[0] ** 2 + SDS[2] ** 2)
    count = np.zeros(2)
    for _ in range(studies):
        read = [
            sd
            * (
                np.sqrt(BETWEEN) * rng.standard_normal(people)[who]
                + np.sqrt(1 - BETWEEN) * rng.standard_normal(who.size)
            )
            for sd in SDS
        ]
        found = three_instrument_errors(read[0], read[1], read[2], who, confidence=0.95)
        for k, ends in enumerate((found.errors[0].variance_ci, found.share_third_ci)):
            count[k] += ends[0] <= truth[k] <= ends[1]
    error, share = count / studies
    return float(error), float(share)


def main() -> None:
    """Print the shares for 6 to 40 participants."""
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    rng = np.random.default_rng(20)
    for people in (6, 12, 20, 40):
        error, share = held(people, studies, rng)
        print(f"{people:3d} participants: variance {100 * error:.1f} %, share {100 * share:.1f} %")


if __name__ == "__main__":
    main()
