"""How often each interval holds the truth, in simulated studies of the designs users have.

    python benchmarks/coverage.py --studies 4000

prints a table a section, with the Monte Carlo standard error (all at nominal 95 %, whole-curve
bands at 90 %), beside what a naive pooled interval and the textbook form reach. All data are
simulated; the generator is seeded.
"""

from __future__ import annotations

if __name__ != "__main__":
    # The other commands of this folder import numba, which looks for the package of this name.
    raise ImportError("benchmarks/coverage.py is a command, not the package `coverage`.")

import argparse
import itertools
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from scipy import signal, stats

from twinangle.agreement import (
    bootstrap_curve_band,
    compare_variability,
    curve_band,
    limits_of_agreement,
    share_within,
)
from twinangle.conditions import compare_conditions

PARTICIPANTS = (6, 10, 20)
SPREADS = {"between > within": (2.0, 0.7), "equal": (1.0, 1.0), "within > between": (0.5, 1.5)}
Z = stats.norm.ppf(0.975)


@dataclass(frozen=True)
class Design:
    """What the differences of a study look like."""

    name: str
    skewness: float = 0.0  # of the participants' levels
    spread_sd: float = 0.0  # of ln(SD within) over participants
    serial: float = 0.0  # correlation of neighbouring cycles


DESIGNS = (
    Design("normal"),
    Design("participants differ in spread (SD of ln 0.3)", spread_sd=0.3),
    Design("serial correlation 0.5", serial=0.5),
    Design("skewness 0.5", skewness=0.5),
    Design("skewness 1.0", skewness=1.0),
    Design("skewness 1.4", skewness=1.4),
)


def standard(rng: np.random.Generator, shape: tuple[int, ...], skewness: float) -> np.ndarray:
    """Return values of mean 0, variance 1 and the skewness (a gamma distribution)."""
    if skewness == 0:
        return rng.standard_normal(shape)
    form = 4 / skewness**2
    return (rng.gamma(form, 1, shape) - form) / np.sqrt(form)


def serial_noise(rng: np.random.Generator, n: int, correlation: float) -> np.ndarray:
    """Return n values of variance 1 with a first-order serial correlation."""
    noise = rng.standard_normal(n)
    if correlation == 0:
        return noise
    noise[1:] *= np.sqrt(1 - correlation**2)
    return signal.lfilter([1.0], [1.0, -correlation], noise)


def draw(
    rng: np.random.Generator, k: int, between: float, within: float, design: Design
) -> tuple[np.ndarray, np.ndarray]:
    """Return the differences of one study and whose each is; 5 to 60 cycles a participant."""
    counts = rng.integers(5, 61, k)
    level = between * standard(rng, (k,), design.skewness)
    # Scaled so that the mean variance within participants stays within².
    own = within * np.exp(design.spread_sd * rng.standard_normal(k) - design.spread_sd**2)
    cycles = [
        m + s * serial_noise(rng, n, design.serial)
        for m, s, n in zip(level, own, counts, strict=True)
    ]
    return np.concatenate(cycles), np.repeat(np.arange(k), counts)


def holds(interval: tuple[float, float], truth: float) -> float:
    return float(interval[0] <= truth <= interval[1])


def limit_study(
    rng: np.random.Generator, k: int, between: float, within: float, design: Design
) -> dict[str, float]:
    """Return which intervals of one study held the truth."""
    values, people = draw(rng, k, between, within, design)
    truth = Z * np.hypot(between, within)
    ours = limits_of_agreement(values, people)
    naive = limits_of_agreement(values)  # strides taken for people
    textbook = limits_of_agreement(values, people, form="analysis-of-variance")
    return {
        "bias": holds(ours.bias_ci, 0),
        "lower": holds(ours.lower_ci, -truth),
        "upper": holds(ours.upper_ci, truth),
        "naive bias": holds(naive.bias_ci, 0),
        "naive limit": (holds(naive.lower_ci, -truth) + holds(naive.upper_ci, truth)) / 2,
        "MOVER limit": (holds(textbook.lower_ci, -truth) + holds(textbook.upper_ci, truth)) / 2,
    }


def sd_study(rng: np.random.Generator, k: int, spread: float, serial: float) -> dict[str, float]:
    """Return whether a paired SD ratio and difference of two conditions held the truth."""
    rows = []
    for person in range(k):
        base = np.exp(spread * rng.standard_normal())
        for condition, factor in (("indoor", 1.0), ("outdoor", 1.3)):
            n = int(rng.integers(5, 61))
            sd = float(np.std(base * factor * serial_noise(rng, n, serial), ddof=1))
            rows.append((person, condition, sd, n))
    frame = pd.DataFrame(rows, columns=["participant", "condition", "value", "n_cycles"])
    (found,) = compare_conditions(frame, against="indoor")
    return {
        "SD ratio": holds(found.ratio_ci, 1.3),
        "SD difference": holds(found.difference_ci, 0.3 * np.exp(spread**2 / 2)),
    }


POINTS = np.linspace(0, 1, 101)
BASIS = np.array([np.ones(101)] + [np.sqrt(2) * np.cos(np.pi * m * POINTS) for m in range(1, 8)])
SIZES = np.array([0.6, 0.5, 0.5, 0.4, 0.3, 0.2, 0.2, 0.1])


def trial_study(rng: np.random.Generator, n: int, serial: float) -> dict[str, float]:
    """Return whether one participant's SD comparison held the truth, n cycles."""
    scores = np.array([[serial_noise(rng, n, serial) for _ in SIZES] for _ in range(2)])
    reference = scores[0].T * SIZES @ BASIS
    test = reference + 0.6 * scores[1].T * SIZES @ BASIS
    r = float(np.sqrt(SIZES**2 @ BASIS**2).mean())
    w = r * np.sqrt(1.36)
    found = compare_variability(test, reference)
    return {
        "ratio": holds(found.ratio_ci, np.sqrt(1.36)),
        "difference": holds(found.difference_ci, w - r),
        "added SD": holds(found.added_sd_ci, 0.6 * r),
    }


def band_study(
    rng: np.random.Generator, k: int, skewness: float, n_resamples: int
) -> dict[str, float]:
    """Return whether whole-curve bands held the true mean curve, or a new participant."""
    people = np.repeat(np.arange(k), rng.integers(5, 31, k))
    level = standard(rng, (k, SIZES.size), skewness) * SIZES @ BASIS
    curves = level[people] + rng.standard_normal((people.size, SIZES.size)) * SIZES @ BASIS
    band = curve_band(curves, people, confidence=0.9)
    narrow = (band.upper - band.mean) * band.pointwise / band.critical
    fresh = standard(rng, (SIZES.size,), skewness) * SIZES @ BASIS
    fresh = fresh + rng.standard_normal(SIZES.size) / np.sqrt(15) * SIZES @ BASIS
    new = curve_band(curves, people, target="new-participant", confidence=0.9)
    wide = bootstrap_curve_band(curves, people, rng=rng, n_resamples=n_resamples, confidence=0.9)
    return {
        "mean curve": bool(np.all((band.lower <= 0) & (band.upper >= 0))),
        "new participant": bool(np.all((new.lower <= fresh) & (new.upper >= fresh))),
        "bootstrap": bool(np.all((wide.lower <= 0) & (wide.upper >= 0))),
        "pointwise": bool(np.all(np.abs(band.mean) <= narrow)),
    }


def share_study(
    rng: np.random.Generator, k: int, between: float, within: float
) -> dict[str, float]:
    """Return whether the interval of the share within a margin held the truth."""
    values, people = draw(rng, k, between, within, DESIGNS[0])
    truth = 2 * stats.norm.cdf(2 / np.hypot(between, within)) - 1
    return {"share within 2": holds(share_within(values, 2.0, people).share_ci, truth)}


def cell(study: Callable[[], dict[str, float]], n: int) -> dict[str, float]:
    """Return the percentage held over n studies."""
    totals: dict[str, float] = {}
    for _ in range(n):
        for name, held in study().items():
            totals[name] = totals.get(name, 0.0) + float(held)
    return {name: 100 * total / n for name, total in totals.items()}


Cell = tuple[str, str, Callable[[], dict[str, float]]]


def cells(rng: np.random.Generator) -> Iterator[Cell]:
    """Yield section, cell name and the study to repeat."""
    for design, (spread, sds), k in itertools.product(DESIGNS, SPREADS.items(), PARTICIPANTS):
        study = partial(limit_study, rng, k, *sds, design)
        yield f"limits, {design.name}", f"{spread}, {k} participants", study
    for k, spread, serial in itertools.product(PARTICIPANTS, (0.0, 0.3), (0.0, 0.5)):
        name = f"{k} participants, SD of ln {spread:g}, serial {serial:g}"
        yield "per-cycle SD of two conditions", name, partial(sd_study, rng, k, spread, serial)
    for n, serial in itertools.product((10, 20, 50), (0.0, 0.5)):
        name = f"{n} cycles, serial {serial:g}"
        yield "SD of two instruments, one participant", name, partial(trial_study, rng, n, serial)
    for (spread, sds), k in itertools.product(SPREADS.items(), PARTICIPANTS):
        name = f"{spread}, {k} participants"
        yield "share within a margin", name, partial(share_study, rng, k, *sds)
    for k, skewness in itertools.product(PARTICIPANTS, (0.0, 1.4)):
        name = f"{k} participants, skewness {skewness:g}"
        yield "whole-curve bands, nominal 90 %", name, partial(band_study, rng, k, skewness, 400)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--studies", type=int, default=1000, help="simulated studies a cell")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="sections whose name contains this")
    options = parser.parse_args()
    error = 100 * np.sqrt(0.95 * 0.05 / options.studies)
    print(f"{options.studies} studies a cell, Monte Carlo standard error {error:.2f} points")
    start, section = time.perf_counter(), ""
    rng = np.random.default_rng(options.seed)
    for name, where, study in cells(rng):
        if options.only not in name:
            continue
        found = cell(study, options.studies)
        if name != section:
            print(f"\n{name}\n{'':46s}" + "".join(f"{column:>17s}" for column in found))
            section = name
        print(f"{where:46s}" + "".join(f"{value:17.1f}" for value in found.values()), flush=True)
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
