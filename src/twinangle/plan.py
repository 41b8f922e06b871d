"""The aims a study can be planned for, and the sentences that answer them."""

from __future__ import annotations

import re
from dataclasses import dataclass, fields

import numpy as np

from twinangle.agreement.condition_trials import FEWEST_CYCLES
from twinangle.agreement.planned_conditions import participants_for_sd_ratio
from twinangle.agreement.planned_sessions import participants_for_sem
from twinangle.agreement.planning import (
    SampleSize,
    cycles_for_sd,
    participants_for_limits,
    participants_for_limits_within,
)
from twinangle.agreement.simulated_studies import simulate_studies
from twinangle.errors import StudyError

SEED = 20
SESSIONS = (2, 3, 4, 5)  # a participant, that are tried
SD_PRECISION = 0.2  # a per-cycle SD known to ± 20 % of itself


@dataclass(frozen=True, slots=True)
class Aims:
    """What is expected and what is wanted; degrees, None where an aim is not asked for.

    `power` is the probability wanted of every aim; `sessions` are those of each participant, None
    for 2 to 5 in turn; `other_cycles` are the cycles under the other condition, None for as many as
    `cycles`.
    """

    sd_between: float | None = None
    sd_within: float = 0.0
    cycles: int = 1
    precision: float | None = None
    margin: float | None = None
    bias: float = 0.0
    sd_ratio: float | None = None
    sd_log_ratio: float = 0.2
    sem: float | None = None
    sem_precision: float | None = None
    sessions: int | None = None
    other_cycles: int | None = None
    power: float = 0.8
    confidence: float = 0.95


def planned_sizes(aims: Aims) -> list[str]:
    """Return one sentence an aim, with what each rests on, and what the whole study would find.

    Raises
    ------
    StudyError
        If a number is out of range, an aim cannot be reached, or none is given.
    """
    limits = aims.precision is not None or aims.margin is not None
    if not limits and aims.sd_ratio is None and aims.sem_precision is None:
        raise StudyError(
            "nothing to plan for: give --precision (of the limits), --margin (to be shown), "
            "--sd-ratio (to be shown) or --sem-precision (of test and retest)."
        )
    if (aims.sem is None) != (aims.sem_precision is None):
        raise StudyError("plan: --sem-precision and --sem, the expected error, go together.")
    if limits and aims.sd_between is None:
        raise StudyError("plan: --precision and --margin need --sd-between, the expected SD.")
    if not 0 < aims.power < 1:
        raise StudyError(f"plan: --power must lie between 0 and 1, got {aims.power!r}.")
    if aims.sd_ratio is not None and min(_cycles_of_both(aims)) < FEWEST_CYCLES:
        raise StudyError(
            f"plan: --sd-ratio needs --cycles (and --other-cycles), at least {FEWEST_CYCLES} a "
            "participant and condition."
        )
    try:
        sizes = [*_sizes_for_limits(aims), *_sizes_for_ratio(aims)]
        retest = _sizes_for_sem(aims)
        alone = retest if len(retest) == 1 else []  # else one size for each number of sessions
        return [*_told([*sizes, *retest]), *_whole_study(aims, [*sizes, *alone])]
    except ValueError as error:
        raise StudyError(f"plan: {_of_the_terminal(str(error))}") from error


def _of_the_terminal(text: str) -> str:
    """Return a fault with the options' names for the arguments'."""
    options = {each.name: f"--{each.name.replace('_', '-')}" for each in fields(Aims)}
    options["ratio"] = options["sd_ratio"]
    return re.sub(r"`(\w+)`", lambda match: options.get(match[1], match[0]), text)


def _told(sizes: list[tuple[SampleSize, str]]) -> list[str]:
    """Return each size and, once, what it rests on."""
    lines: list[str] = []
    for size, unit in sizes:
        rests = [f"  {text}" for text in size.assumptions]
        lines += [size.summary(unit), *(text for text in rests if text not in lines)]
    return lines


def _whole_study(aims: Aims, sizes: list[tuple[SampleSize, str]]) -> list[str]:
    """Return the participants that serve every aim, and what limits they would give."""
    counts = [size.n for size, _ in sizes if size.unit_counted == "participants"]
    if not counts:
        return []
    n = max(counts)
    lines = [f"For each aim above: {n} participants."] if len(counts) > 1 else []
    if aims.sd_between is None or (aims.precision is None and aims.margin is None):
        return lines
    found = simulate_studies(
        n, aims.cycles, sd_between=aims.sd_between, sd_within=aims.sd_within, bias=aims.bias,
        margin=aims.margin, confidence=aims.confidence, rng=_generator(),
    )  # fmt: skip
    return [*lines, f"What to expect: {found.summary('°')}"]


def _sizes_for_limits(aims: Aims) -> list[tuple[SampleSize, str]]:
    """Return the sizes that the limits of agreement ask for."""
    sizes: list[tuple[SampleSize, str]] = []
    if aims.sd_between is None:
        return sizes
    if aims.precision is not None:
        size = participants_for_limits(
            aims.precision, sd_between=aims.sd_between, sd_within=aims.sd_within,
            n_cycles=aims.cycles, assurance=aims.power, confidence=aims.confidence,
            rng=_generator(),
        )  # fmt: skip
        sizes.append((size, "°"))
    if aims.margin is not None:
        size = participants_for_limits_within(
            aims.margin, sd_between=aims.sd_between, sd_within=aims.sd_within,
            n_cycles=aims.cycles, bias=aims.bias, power=aims.power, confidence=aims.confidence,
            rng=_generator(),
        )  # fmt: skip
        sizes.append((size, "°"))
    return sizes


def _sizes_for_sem(aims: Aims) -> list[tuple[SampleSize, str]]:
    """Return the participants that test and retest asks for, by the number of sessions."""
    if aims.sem is None or aims.sem_precision is None:
        return []
    sessions = SESSIONS if aims.sessions is None else (aims.sessions,)
    return [
        (
            participants_for_sem(
                aims.sem_precision, sem=aims.sem, n_sessions=k, assurance=aims.power,
                confidence=aims.confidence, rng=_generator(),
            ),
            "°",
        )
        for k in sessions
    ]  # fmt: skip


def _sizes_for_ratio(aims: Aims) -> list[tuple[SampleSize, str]]:
    """Return the sizes that a ratio of two conditions' SDs asks for."""
    if aims.sd_ratio is None:
        return []
    ratio = participants_for_sd_ratio(
        aims.sd_ratio, sd_log_ratio=aims.sd_log_ratio, cycles=_cycles_of_both(aims),
        power=aims.power, confidence=aims.confidence, rng=_generator(),
    )  # fmt: skip
    return [(ratio, ""), (cycles_for_sd(SD_PRECISION, confidence=aims.confidence), "")]


def _cycles_of_both(aims: Aims) -> tuple[int, int]:
    """Return the cycles a participant under either condition."""
    return aims.cycles, aims.cycles if aims.other_cycles is None else aims.other_cycles


def _generator() -> np.random.Generator:
    """Return the generator of one aim; each has its own, so that none depends on another."""
    return np.random.default_rng(SEED)
