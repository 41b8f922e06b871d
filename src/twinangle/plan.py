"""The aims a study can be planned for, and the sentences that answer them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.agreement.limits import FEWEST_PARTICIPANTS
from twinangle.agreement.planning import (
    SampleSize,
    cycles_for_sd,
    participants_for_equivalence,
    participants_for_limits,
    participants_for_limits_within,
    participants_for_sd_ratio,
)
from twinangle.agreement.simulated_studies import simulate_studies, simulated_power_of_ratio
from twinangle.errors import StudyError

STUDIES, SEED = 4000, 20
SD_PRECISION = 0.2  # a per-cycle SD known to ± 20 % of itself


@dataclass(frozen=True, slots=True)
class Aims:
    """What is expected and what is wanted; degrees, None where an aim is not asked for."""

    sd_between: float
    sd_within: float = 0.0
    cycles: int = 1
    precision: float | None = None
    margin: float | None = None
    bias: float = 0.0
    sd_ratio: float | None = None
    sd_log_ratio: float = 0.2
    power: float = 0.8
    confidence: float = 0.95


def planned_sizes(aims: Aims) -> list[str]:
    """Return one sentence an aim, with what each rests on.

    Raises
    ------
    StudyError
        If a number is out of range, an aim cannot be reached, or none is given.
    """
    if aims.precision is None and aims.margin is None and aims.sd_ratio is None:
        raise StudyError(
            "nothing to plan for: give --precision (of the limits), --margin (to be shown) or "
            "--sd-ratio (to be shown)."
        )
    try:
        sizes = _sizes(aims)
    except ValueError as error:
        raise StudyError(f"plan: {error}") from error
    lines = []
    for size, unit in sizes:
        lines += [size.summary(unit), *(f"  {text}" for text in size.assumptions)]
    return [*lines, *_simulated(aims, [size for size, _ in sizes])]


def _simulated(aims: Aims, sizes: list[SampleSize]) -> list[str]:
    """Return what simulated studies of the sizes found, as a check of the formulas."""
    rng = np.random.default_rng(SEED)
    counts = sorted(
        {s.n for s in sizes if s.unit_counted == "participants" and "ratio" not in s.aim}
    )
    lines = ["By simulation, the same analysis on invented studies:"]
    for n in counts:
        if n < FEWEST_PARTICIPANTS:
            lines.append(f"  {n} participants are too few for an interval of the limits.")
            continue
        found = simulate_studies(
            n, aims.cycles, sd_between=aims.sd_between, sd_within=aims.sd_within, rng=rng,
            n_studies=STUDIES, bias=aims.bias, margin=aims.margin, confidence=aims.confidence,
        )  # fmt: skip
        lines.append(f"  {found.summary('°')}")
    if aims.sd_ratio is not None:
        n = next(size.n for size in sizes if "ratio" in size.aim)
        share = simulated_power_of_ratio(
            n, aims.sd_ratio, sd_log_ratio=aims.sd_log_ratio, rng=rng, confidence=aims.confidence
        )
        lines.append(
            f"  {n} participants: the ratio was shown in {100 * share:.0f} % of the studies."
        )
    return lines


def _sizes(aims: Aims) -> list[tuple[SampleSize, str]]:
    """Return each aim's sample size with the unit of what it reaches."""
    # the SD of a participant's mean difference, which is what an equivalence claim is made from
    sd_of_means = float(np.hypot(aims.sd_between, aims.sd_within / np.sqrt(aims.cycles)))
    sd_of_one = float(np.hypot(aims.sd_between, aims.sd_within))
    chances = {"power": aims.power, "confidence": aims.confidence}
    sizes = []
    if aims.precision is not None:
        size = participants_for_limits(
            aims.precision,
            sd_between=aims.sd_between,
            sd_within=aims.sd_within,
            n_cycles=aims.cycles,
            confidence=aims.confidence,
        )
        sizes.append((size, "°"))
    if aims.margin is not None:
        bias = participants_for_equivalence(aims.margin, bias=aims.bias, sd=sd_of_means, **chances)
        limits = participants_for_limits_within(
            aims.margin, bias=aims.bias, sd=sd_of_one, **chances
        )
        sizes += [(bias, ""), (limits, "")]
    if aims.sd_ratio is not None:
        ratio = participants_for_sd_ratio(aims.sd_ratio, sd_log_ratio=aims.sd_log_ratio, **chances)
        sizes += [(ratio, ""), (cycles_for_sd(SD_PRECISION, confidence=aims.confidence), "")]
    return sizes
