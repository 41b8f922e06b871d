"""Each walking bout as a unit of its own: cadence, variability and agreement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from twinangle.cycles.summary import StrideSummary, bout_summaries
from twinangle.declare import Spread, measured
from twinangle.signals.recording import Array, CycleSet


@dataclass(frozen=True, slots=True)
class BoutUnit:
    """One bout; a field that too few kept cycles leave open, or no reference, is NaN.

    The SDs are over the bout's kept cycles (n − 1) at each point, averaged over the points.
    `offset_deg` is the mean of wearable minus reference over its cycles, `rms_demeaned_deg` the
    RMS over the points of the difference of the two mean curves, each less its own mean.
    """

    strides: Annotated[StrideSummary, Spread()]
    wearable_sd_deg: Annotated[
        float,
        measured(
            "deg",
            "SD over the bout's kept cycles (n - 1) of the wearable, averaged over the points",
        ),
    ]
    reference_sd_deg: Annotated[
        float,
        measured(
            "deg",
            "SD over the bout's kept cycles (n - 1) of the reference, averaged over the points",
        ),
    ]
    offset_deg: Annotated[
        float,
        measured("deg", "mean of wearable minus reference over the bout's cycles"),
    ]
    rms_demeaned_deg: Annotated[
        float,
        measured(
            "deg", "RMS of the difference of the bout's two mean curves, each less its own mean"
        ),
    ]


def bout_units(cycles: CycleSet) -> tuple[BoutUnit, ...]:
    """Describe each numbered bout, in order of time.

    Parameters
    ----------
    cycles : CycleSet
        Cycles found and judged; isolated movement (bout 0) is left out.

    Returns
    -------
    tuple of BoutUnit
        One a bout, also where none of its cycles is kept. The formulas are those of
        `twinangle.agreement.curves` and `twinangle.agreement.variability`.
    """
    return tuple(_unit(cycles, summary) for summary in bout_summaries(cycles))


def _unit(cycles: CycleSet, summary: StrideSummary) -> BoutUnit:
    kept = cycles.kept & (cycles.bout == summary.bout)
    wearable, reference = cycles.wearable_deg, cycles.reference_deg
    offset = rms = float("nan")
    if reference is not None and kept.any():
        difference = wearable[kept].mean(axis=0) - reference[kept].mean(axis=0)
        offset, rms = float(difference.mean()), float(difference.std())
    return BoutUnit(
        strides=summary,
        wearable_sd_deg=_per_cycle_sd(wearable, kept),
        reference_sd_deg=float("nan") if reference is None else _per_cycle_sd(reference, kept),
        offset_deg=offset,
        rms_demeaned_deg=rms,
    )


def _per_cycle_sd(curves: Array, kept: NDArray[np.bool_]) -> float:
    return float(curves[kept].std(axis=0, ddof=1).mean()) if kept.sum() > 1 else float("nan")
