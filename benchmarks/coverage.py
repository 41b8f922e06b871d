"""How often each interval holds the truth, in simulated studies of the designs users have.

    python benchmarks/coverage.py --studies 4000 --jobs 2

prints a table a section, each row a cell with its number of studies and the Monte Carlo standard
error of a share at the nominal level (95 %, whole-curve bands 90 %), beside what naive pooled
intervals and the textbook forms reach. All data are simulated; every cell has a seeded generator of
its own, so that the numbers do not depend on `--jobs` or `--only`.
"""

from __future__ import annotations

if __name__ == "coverage":
    # With this folder on the path, numba's look for the package of this name must find none.
    raise ImportError("benchmarks/coverage.py is a command, not the package `coverage`.")

import argparse
import itertools
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from coverage_studies import (
    ConditionDesign,
    Design,
    Held,
    adjusted_studies,
    band_studies,
    budget_studies,
    condition_studies,
    curve_studies,
    drift_studies,
    flag_studies,
    form_studies,
    instrument_studies,
    limit_studies,
    lone_condition_studies,
    model_studies,
    pooled_studies,
    reliability_studies,
    sd_studies,
    single_studies,
    size_studies,
    within_studies,
)

from twinangle.parallel import in_order

PARTICIPANTS = (6, 10, 20)
RATIOS = (0.3, 0.5, 1.0, 2.0)  # SD within over SD between participants
MANY_PARTICIPANTS = (6, 12, 20, 40)
UNEQUAL = "SD of ln within 0.6"
DESIGNS = (
    Design("normal"),
    Design("participants differ in spread (SD of ln 0.3)", spread_sd=0.3),
    Design("participants differ in spread (SD of ln 0.6)", spread_sd=0.6),
    Design("serial correlation 0.5", serial=0.5),
    Design("skewness 0.5", "skewness 0.5"),
    Design("skewness 1", "skewness 1"),
    Design("skewness 2", "skewness 2"),
    Design(f"skewness 2, {UNEQUAL}", "skewness 2", spread_sd=0.6),
    Design("t, 4 df", "t, 4 df"),
    Design(f"t, 4 df, {UNEQUAL}", "t, 4 df", spread_sd=0.6),
    Design("one in five an outlier", "one in five an outlier"),
    Design(f"one in five an outlier, {UNEQUAL}", "one in five an outlier", spread_sd=0.6),
)
UNLIKE = ((8, 15), (60, 100)), ((40, 65), (5, 12))  # cycles of the two conditions
SERIAL = {  # serial correlations of the two conditions
    ".3-.6 both": ((0.3, 0.6), (0.3, 0.6)),
    "0 both": ((0.0, 0.0), (0.0, 0.0)),
    "0-.2, .4-.6": ((0.0, 0.2), (0.4, 0.6)),
    ".4-.6, 0-.2": ((0.4, 0.6), (0.0, 0.2)),
}
CONDITIONS = tuple(
    ConditionDesign(f"{a}-{b}/{c}-{d}, r {name}", cycles, serial, points)
    for points in (5, 1)
    for name, serial in SERIAL.items()
    for cycles in UNLIKE
    for (a, b), (c, d) in (cycles,)
)
SHAPES = ("normal", "t, 4 df", "one in five an outlier", "skewness 1", "skewness 2")
PEOPLE = {"participants most": (2.0, 1.0, 0.7)}  # SD of participants, sessions, cycles
OTHERS = {"sessions most": (0.5, 1.5, 0.7), "cycles most": (0.5, 0.5, 1.5)}
UNNESTED = {"between > within": (2.0, 0.0, 0.7), "within > between": (0.5, 0.0, 1.5)}
# Sessions and cycles, fewest and most; SD over participants of the logarithm of their spread.
MODELS = {
    "two sessions of 10 cycles": ((2, 2), (10, 10), 0.0),
    "1 to 3 sessions of 5 to 60 cycles": ((1, 3), (5, 60), 0.0),
    "no session nested, 5 to 60 cycles": ((1, 1), (5, 60), 0.0),
    "1 to 3 sessions, SD of ln spread 0.3": ((1, 3), (5, 60), 0.3),
}
GONE = {*range(54), 127, 128, 129, *range(174, 183)}  # so that cells that stayed keep theirs
SIZED = (6, 10, 20, 40)
TRIALS = tuple(itertools.product((10, 20, 50), (0.0, 0.5)))  # cycles, serial correlation
OTHER_TRIALS = tuple(
    (n, serial)
    for n, serial in itertools.product((6, 10, 20, 50), (-0.3, 0.0, 0.3, 0.5, 0.7))
    if (n, serial) not in TRIALS
)


@dataclass(frozen=True)
class Cell:
    """One row of a table: how its studies are run, and how many of those asked for."""

    section: str
    name: str
    run: Callable[[np.random.Generator, int], Held]
    share: float = 1.0  # of the studies; the slowest run a part
    nominal: float = 95.0


def cells() -> Iterator[Cell]:
    """Yield every cell."""
    for skewness, k in itertools.product((0.0, 0.5, 1.0, 1.4), PARTICIPANTS):
        run = partial(single_studies, k=k, skewness=skewness)
        yield Cell("one pair a participant", f"skewness {skewness:g}, {k} participants", run)
    for design, k in itertools.product(CONDITIONS, (6, 12, 20)):
        run = partial(condition_studies, k=k, design=design)
        section = f"SD of two conditions, {design.points} point(s)"
        yield Cell(section, f"{design.name}, {k} participants", run)
    for cycles, serial, points in itertools.product(
        ((10, 60), (20, 20), (60, 12), (40, 50)), (0.0, 0.3, 0.5), (1, 5)
    ):
        run = partial(lone_condition_studies, cycles=cycles, serial=serial, points=points)
        name = f"{cycles[0]} and {cycles[1]} cycles, serial {serial:g}, {points} point(s)"
        yield Cell("SD of two conditions, one participant", name, run, share=0.25)
    yield from _trial_cells(TRIALS)
    yield from _further_cells()
    for k, skewness in itertools.product(PARTICIPANTS, (0.0, 1.4)):
        run = partial(band_studies, k=k, skewness=skewness)
        name = f"{k} participants, skewness {skewness:g}"
        yield Cell("whole-curve bands, nominal 90 %", name, run, nominal=90.0)
    for constant, growth, k in itertools.product((True, False), (0.0, 0.015, 0.03), SIZED):
        if constant and growth > 0.015:
            continue
        form = "one spread" if constant else "a line for the spread"
        run = partial(size_studies, k=k, growth=growth, constant_spread=constant)
        yield Cell(f"limits at a size, {form}", f"{_grown(growth)}, {k} participants", run)
    yield from _model_cells(OTHERS, "two sessions of 10 cycles")
    yield from _model_cells(PEOPLE | OTHERS, "1 to 3 sessions of 5 to 60 cycles")
    yield from _model_cells(UNNESTED, "no session nested, 5 to 60 cycles")
    yield from _model_cells(PEOPLE | OTHERS, "1 to 3 sessions, SD of ln spread 0.3")
    yield from _trial_cells(OTHER_TRIALS, ", other serial correlations", share=0.5)
    for n in (10, 20, 50):
        run = partial(drift_studies, cycles=n)
        yield Cell("limits within one participant, drift beneath noise", f"{n} cycles", run)
    for k, trials in itertools.product(PARTICIPANTS, (1, 3)):
        run = partial(adjusted_studies, k=k, trials=trials)
        name = f"{k} participants, {trials} trial(s) a condition"
        yield Cell("ratio of two conditions at equal speed", name, run)
    for design, k, ratio in itertools.product(DESIGNS, MANY_PARTICIPANTS, RATIOS):
        run = partial(limit_studies, k=k, sds=(1.0, ratio), design=design)
        name = f"{k} participants, within {ratio:g} of between"
        yield Cell(f"limits of agreement, {design.name}", name, run)
    for name, k in itertools.product(SHAPES, (5, 6, 8, 12, 20, 40)):
        if name == "normal" or k in MANY_PARTICIPANTS:
            run = partial(flag_studies, k=k, shape=name)
            cell = f"{k} participants", run, 1.0 if name == "normal" else 0.25
            yield Cell(f"warning of the shape, {name}", *cell, nominal=5.0)
    for serial, k in itertools.product(((0.5, 0.5), (0.5, 0.0), (0.0, 0.5)), PARTICIPANTS):
        run = partial(instrument_studies, k=k, spread=0.3, serial=serial)
        name = f"serial {serial[0]:g}, of the error {serial[1]:g}, {k} participants"
        yield Cell("SD of two instruments, over participants, serial", name, run)


def _grown(growth: float) -> str:
    """Return how many times the spread at the smallest size the spread at the largest is."""
    return f"SD x {(1 + 25 * growth) / (1 - 25 * growth):.3g} over the sizes"


def _trial_cells(
    trials: tuple[tuple[int, float], ...], called: str = "", share: float = 1.0
) -> Iterator[Cell]:
    """Yield the cells of one participant's trial, by cycles and serial correlation."""
    sections = {
        "SD of two instruments, one participant": sd_studies,
        "mean curves, one participant": curve_studies,
        "error budget, one participant": budget_studies,
        "limits within one participant": within_studies,
    }
    for (section, study), (n, serial) in itertools.product(sections.items(), trials):
        run = partial(study, cycles=n, serial=serial)
        yield Cell(section + called, f"{n} cycles, serial {serial:g}", run, share=share)


def _further_cells() -> Iterator[Cell]:
    """Yield the cells of further forms over participants."""
    for k in PARTICIPANTS:
        yield Cell("numbers of curves and budgets over participants", f"{k} participants",
                   partial(pooled_studies, k=k))  # fmt: skip
    for spread_sd, k in itertools.product((0.0, 0.3), PARTICIPANTS):
        yield Cell("SD of two instruments, over participants",
                   f"{k} participants, SD of ln {spread_sd:g}",
                   partial(instrument_studies, k=k, spread=spread_sd))  # fmt: skip
    for k in (*PARTICIPANTS, 40):
        yield Cell("further forms, one pair a participant", f"{k} participants",
                   partial(form_studies, k=k))  # fmt: skip
    for k in PARTICIPANTS:
        yield Cell("test and retest", f"{k} participants", partial(reliability_studies, k=k))
    yield from _model_cells(PEOPLE, "two sessions of 10 cycles")


def _model_cells(spreads: dict[str, tuple[float, float, float]], design: str) -> Iterator[Cell]:
    """Yield the cells of the mixed model in one of its designs."""
    sessions, cycles, differ = MODELS[design]
    for (spread, sds), k in itertools.product(spreads.items(), PARTICIPANTS):
        run = partial(model_studies, k=k, sds=sds, sessions=sessions, cycles=cycles, spread=differ)
        yield Cell(f"mixed model, {design}", f"{spread}, {k} participants", run)


def _numbers() -> Iterator[int]:
    """Yield the number that seeds each cell, passing those whose cells were taken out."""
    return (number for number in itertools.count() if number not in GONE)


def run_cell(numbered: tuple[int, Cell], *, studies: int, seed: int) -> dict[str, float]:
    """Return the percentage held of every interval of a cell."""
    index, cell = numbered
    rng = np.random.default_rng([seed, index])
    with np.errstate(all="ignore"):
        held = cell.run(rng, _size(cell, studies))
    return {name: 100 * float(np.mean(each)) for name, each in held.items()}


def _size(cell: Cell, studies: int) -> int:
    return max(int(studies * cell.share), 1)


def _processor_seconds() -> float:
    """Return the processor time of this process and its children."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--studies", type=int, default=1000, help="simulated studies a cell")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--only", default="", help="rows whose section and name contain this")
    options = parser.parse_args()
    numbered = [
        (i, cell)
        for i, cell in zip(_numbers(), cells(), strict=False)
        if options.only in f"{cell.section}: {cell.name}"
    ]
    start, shown = time.perf_counter(), ("", [""])
    run = partial(run_cell, studies=options.studies, seed=options.seed)
    found = in_order(run, numbered, jobs=options.jobs)
    for (_, cell), shares in zip(numbered, found, strict=True):
        if (cell.section, list(shares)) != shown:
            head = "".join(f"{column:>17s}" for column in ("studies", "MC error", *shares))
            print(f"\n{cell.section}\n{'':44s}{head}")
            shown = (cell.section, list(shares))
        n, nominal = _size(cell, options.studies), cell.nominal
        error = np.sqrt(nominal * (100 - nominal) / n)
        row = "".join(f"{value:17.1f}" for value in shares.values())
        print(f"{cell.name:44s}{n:17d}{error:17.2f}{row}", flush=True)
    wall = time.perf_counter() - start
    print(
        f"\n{wall:.0f} s with {options.jobs} process(es), {_processor_seconds():.0f} s of processor"
    )


if __name__ == "__main__":
    main()
