"""How often limits that lie at the margin are judged inside it, or outside, in simulated studies.

    python benchmarks/margin_size.py --studies 4000

prints, for studies of 6, 12 and 20 people, the percentage of wrong verdicts where they are most
likely: "inside" with one limit exactly at the margin and the other far from it (the upper and the
lower limit apart, for skewness strikes on one side), "inside" and "outside" with both limits at the
margin. The rule is `twinangle.agreement.judge_limits` at 95 %: meant are at most 2.5 % for
"inside" and 5 % for "outside". Beside it stands the rule that was left: "inside" by 90 % intervals,
meant 5 %, and in how many studies that contradicts the 95 % intervals, at the margin where it does
so most. True limits are bias -+ 1.96 SD in every design. All data are simulated, from one seed.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.testing import assert_allclose

from twinangle.agreement import equivalence_test
from twinangle.agreement._participants import ParticipantLimits
from twinangle.agreement._quantiles import half_width
from twinangle.agreement.equivalence import inside_margin, outside_margin
from twinangle.agreement.simulated_studies import study_limits

PEOPLE = (6, 12, 20)
SPREADS = {"between > within": (2.0, 0.7), "equal": (1.0, 1.0), "within > between": (0.5, 1.5)}
MOST_CYCLES = 60
COLUMNS = (
    "in, upper", "in, lower", "in, both", "out, both", "90 % in, upper", "90 % in, both", "differ"
)  # fmt: skip


@dataclass(frozen=True)
class Shape:
    """Shape of the participants' levels, and SD over participants of ln(SD within)."""

    name: str
    skewness: float = 0.0
    tails: int = 0  # degrees of freedom of Student's t; 0: normal
    differ: float = 0.0


SHAPES = (
    Shape("normal"),
    Shape("people differ in spread, SD of ln 0.3", differ=0.3),
    Shape("people differ in spread, SD of ln 0.6", differ=0.6),
    Shape("heavy tails, t with 4 degrees of freedom", tails=4),
    Shape("skewness 1", skewness=1.0),
    Shape("skewness 2", skewness=2.0),
)


def levels(rng: np.random.Generator, shape: tuple[int, ...], of: Shape) -> np.ndarray:
    """Return values of mean 0 and variance 1."""
    if of.tails:
        return rng.standard_t(of.tails, shape) * np.sqrt((of.tails - 2) / of.tails)
    if of.skewness == 0:
        return rng.standard_normal(shape)
    form = 4 / of.skewness**2
    return (rng.gamma(form, 1, shape) - form) / np.sqrt(form)


def cycles_of_studies(
    rng: np.random.Generator, n: int, k: int, sds: tuple[float, float], shape: Shape
) -> tuple[np.ndarray, np.ndarray]:
    """Return n studies' differences, and which of them there are: 5 to 60 cycles a participant."""
    counts = rng.integers(5, MOST_CYCLES + 1, (k, n))
    own = sds[1] * np.exp(shape.differ * rng.standard_normal((k, n)) - shape.differ**2)
    noise = own[..., None] * rng.standard_normal((k, n, MOST_CYCLES))
    values = sds[0] * levels(rng, (k, n), shape)[..., None] + noise
    return values, np.arange(MOST_CYCLES) < counts[..., None]


def several(
    rng: np.random.Generator, n: int, k: int, sds: tuple[float, float], shape: Shape
) -> tuple[ParticipantLimits, ParticipantLimits]:
    """Return the limits of n studies with 95 % and with 90 % intervals."""
    values, used = cycles_of_studies(rng, n, k, sds, shape)
    counts = used.sum(axis=-1)
    means = np.where(used, values, 0).sum(axis=-1) / counts
    rest = np.where(used, (values - means[..., None]) ** 2, 0).sum(axis=-1) / counts
    found = [study_limits(means, rest, MOST_CYCLES, level) for level in (0.95, 0.90)]
    for i in range(3):  # the first few also by the public function
        public = equivalence_test(values[:, i][used[:, i]], 1.0, np.nonzero(used[:, i])[0])
        bounds = (found[0].lower_low[i], found[0].upper_high[i])
        assert_allclose((public.lower_ci[0], public.upper_ci[1]), bounds, rtol=1e-9)
    return found[0], found[1]


def single(
    rng: np.random.Generator, n: int, k: int, shape: Shape
) -> tuple[ParticipantLimits, ParticipantLimits]:
    """Return the limits of n studies of one pair a participant, SD 1."""
    values = levels(rng, (k, n), shape)
    found = [study_limits(values, np.zeros((k, n)), 1, level) for level in (0.95, 0.90)]
    return found[0], found[1]


def shares(found: ParticipantLimits, less: ParticipantLimits, limit: float) -> list[float]:
    """Return the percentages of a row; `less` has the 90 % intervals, ±`limit` are the true."""
    both = [inside_margin(f.lower_low, f.upper_high, limit) for f in (found, less)]
    # the other limit far inside: all that is left of the rule is the one bound
    upper = [inside_margin(-limit, f.upper_high, limit) for f in (found, less)]
    lower = inside_margin(found.lower_low, limit, limit)
    outside = outside_margin(found.lower_high, found.upper_low, limit)
    apart = max(
        float(np.mean(inside_margin(less.lower_low, less.upper_high, m)
                      & ~inside_margin(found.lower_low, found.upper_high, m)))
        for m in limit * np.arange(1.0, 5.0, 0.05)
    )  # fmt: skip
    parts = [upper[0], lower, both[0], outside, upper[1], both[1]]
    return [*(100 * float(np.mean(part)) for part in parts), 100 * apart]


def rows(studies: int, seed: int, only: str) -> Iterator[tuple[str, str, list[float]]]:
    """Yield section, name and percentages of every row."""
    z, index = half_width(0.95), 0
    for shape in SHAPES:
        for spread, sds in SPREADS.items():
            for k in PEOPLE:
                index += 1
                if only in shape.name:
                    rng = np.random.default_rng([seed, index])
                    parts = several(rng, studies, k, sds, shape)
                    limit = z * float(np.hypot(*sds))
                    yield shape.name, f"{spread}, {k} people", shares(*parts, limit)
        for k in PEOPLE:
            index += 1
            if only in shape.name and not shape.differ:
                rng = np.random.default_rng([seed, index])
                yield (
                    shape.name,
                    f"one pair each, {k} people",
                    shares(*single(rng, studies, k, shape), z),
                )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--studies", type=int, default=1000, help="simulated studies a row")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="designs whose name contains this")
    options = parser.parse_args()
    shown = ""
    for section, name, found in rows(options.studies, options.seed, options.only):
        if section != shown:
            print(f"\n{section}\n{'':30s}" + "".join(f"{column:>16s}" for column in COLUMNS))
            shown = section
        print(f"{name:30s}" + "".join(f"{value:16.1f}" for value in found), flush=True)
    error = 100 * np.sqrt(0.025 * 0.975 / options.studies)
    print(f"\n{options.studies} studies a row; Monte Carlo standard error at 2.5 %: {error:.2f}")


if __name__ == "__main__":
    main()
