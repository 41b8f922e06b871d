"""Durations of the kept cycles, in walking stride times, and their variability."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from twinangle.declare import measured, number
from twinangle.signals.recording import Array, CycleSet


@dataclass(frozen=True, slots=True)
class StrideSummary:
    """Durations of the kept cycles; a field that too few cycles leave open is NaN.

    `bout` is the bout it describes, None for all. The SDs have n − 1 in the denominator;
    `duration_sd_within_bouts_s` pools the bouts' own (n − 1 a bout), free of differences in speed
    between them.
    """

    bout: Annotated[int | None, number("the bout described; none for all")]
    start_s: Annotated[float, measured("s", "start of the first cycle, kept or not")]
    end_s: Annotated[float, measured("s", "end of the last cycle, kept or not")]
    n_found: Annotated[int, number("cycles found")]
    n_kept: Annotated[int, number("cycles kept")]
    n_bouts: Annotated[int, number("bouts with at least one kept cycle")]
    duration_mean_s: Annotated[float, measured("s", "mean duration of the kept cycles")]
    duration_sd_s: Annotated[float, measured("s", "SD of the durations (n - 1)")]
    duration_cv_percent: Annotated[float, measured("percent", "100 SD / mean of the durations")]
    duration_sd_within_bouts_s: Annotated[
        float,
        measured(
            "s",
            "SD of the durations within bouts (n - 1 a bout), free of differences in speed "
            "between them",
        ),
    ]
    cycles_per_minute: Annotated[
        float,
        measured("per_minute", "kept cycles a minute (in walking strides, of two steps each)"),
    ]


def stride_summary(cycles: CycleSet, *, bout: int | None = None) -> StrideSummary:
    """Summarise cadence and stride-time variability.

    Parameters
    ----------
    cycles : CycleSet
        Cycles found and judged.
    bout : int, optional
        Take this bout alone.

    Returns
    -------
    StrideSummary
        Mean and SD (n − 1) of the kept cycles' durations, ``CV = 100 SD / mean`` and the number
        a minute, ``60 / mean`` (in walking strides, of two steps each).

    Raises
    ------
    ValueError
        If there is no such bout.

    Notes
    -----
    The stride-time CV of healthy adults is under 3 % (from memory).
    """
    chosen = np.ones(cycles.start_s.size, dtype=bool) if bout is None else cycles.bout == bout
    if not chosen.any():
        numbers = ", ".join(str(k) for k in np.unique(cycles.bout)) or "none"
        raise ValueError(f"`bout` must be one of {numbers}, got {bout!r}.")
    kept = chosen & cycles.kept
    duration, number = cycles.duration_s[kept], cycles.bout[kept]
    mean = float(duration.mean()) if duration.size else float("nan")
    sd = float(duration.std(ddof=1)) if duration.size > 1 else float("nan")
    return StrideSummary(
        bout=bout,
        start_s=float(cycles.start_s[chosen].min()),
        end_s=float(cycles.end_s[chosen].max()),
        n_found=int(chosen.sum()),
        n_kept=int(kept.sum()),
        n_bouts=int(np.unique(number[number > 0]).size),
        duration_mean_s=mean,
        duration_sd_s=sd,
        duration_cv_percent=100.0 * sd / mean,
        duration_sd_within_bouts_s=_sd_within(duration, number),
        cycles_per_minute=60.0 / mean,
    )


def bout_summaries(cycles: CycleSet) -> tuple[StrideSummary, ...]:
    """Summarise each numbered bout, in order of time.

    Parameters
    ----------
    cycles : CycleSet
        Cycles found and judged.

    Returns
    -------
    tuple of StrideSummary
        One a bout; isolated movement (bout 0) is left out.
    """
    numbers = np.unique(cycles.bout[cycles.bout > 0])
    return tuple(stride_summary(cycles, bout=int(number)) for number in numbers)


def _sd_within(duration_s: Array, bout: NDArray[np.int64]) -> float:
    """Pool the variance within bouts."""
    groups = [duration_s[bout == number] for number in np.unique(bout)]
    freedom = sum(group.size - 1 for group in groups)
    if freedom < 1:
        return float("nan")
    return float(np.sqrt(sum(np.sum((group - group.mean()) ** 2) for group in groups) / freedom))
