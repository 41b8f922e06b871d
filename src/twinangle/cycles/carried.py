"""Cycles that one wearable cut, carried to another that recorded at the same time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from twinangle.cycles import exclude
from twinangle.cycles.enough import reason_kind, require_enough, small_numbers
from twinangle.cycles.find import as_candidates, cut_all
from twinangle.cycles.judge import gap_reasons, merge_reasons, without_reference
from twinangle.errors import TooFewCyclesError
from twinangle.signals.recording import CycleSet, MaskedStretch, PairedAngles

CARRIED = " of "  # in the method of carried cycles, before the name of the wearable that cut them
OF_ONE_INSTRUMENT = ("masked", "gap", "curve outlier")
"""Reasons that concern the instrument alone whose cycles they are; all others go with a cycle."""


def carried_cycles(
    cycles: CycleSet,
    paired: PairedAngles,
    *,
    wearable: str,
    forced: NDArray[np.bool_],
    limits_s: tuple[float, float] = (-np.inf, np.inf),
    masked: Sequence[MaskedStretch] = (),
) -> CycleSet:
    """Cut an instrument's angles by the cycles of another, and judge what concerns it alone.

    Parameters
    ----------
    cycles : CycleSet
        The other's cycles, found and judged, with their times on this instrument's clock.
    paired : PairedAngles
        This instrument's angle (and the reference).
    wearable : str
        Name of the other, for the words of the result.
    forced : ndarray of bool, shape (m,)
        Which of its cycles were forced in by hand.
    limits_s : tuple of float
        This instrument's stretch to analyse, seconds on its clock.
    masked : sequence of MaskedStretch
        Its stretches left out by hand.

    Returns
    -------
    CycleSet
        Those cycles that lie within this stretch of the recording. What the other left out as no
        ordinary part of the movement (turns, starts, stops, calibration, odd durations, by hand) is
        left out with the same reason; masks, gaps and outlying curves are judged here.

    Raises
    ------
    TooFewCyclesError
        If fewer than three are kept, unless the recording is short.
    """
    time_s = paired.time_s
    first_s, last_s = max(time_s[0], limits_s[0]), min(time_s[-1], limits_s[1])
    here = np.flatnonzero((cycles.start_s >= first_s) & (cycles.end_s <= last_s))
    if not here.size:
        raise TooFewCyclesError(
            f"No cycle found: none of the {len(cycles.reason)} cycles of {wearable} lies within "
            f"what is analysed of this recording ({first_s:.2f} to {last_s:.2f} s)."
        )
    chosen = replace(
        cycles,
        start_s=cycles.start_s[here],
        end_s=cycles.end_s[here],
        reason=tuple(cycles.reason[k] for k in here),
        bout=cycles.bout[here],
    )
    candidates = as_candidates(chosen)
    new = cut_all(candidates, paired, f"{cycles.method}{CARRIED}{wearable}")
    reason = ["" if reason_kind(t) in OF_ONE_INSTRUMENT else t for t in chosen.reason]
    merge_reasons(reason, exclude.masked(candidates, masked))
    merge_reasons(reason, gap_reasons(candidates, paired))
    ordinary = np.array([not text for text in reason], dtype=bool)
    for name, curves in (("wearable", new.wearable_deg), ("reference", new.reference_deg)):
        if curves is not None:
            odd = exclude.outlying_curves(curves, new.bout, ordinary, name)
            odd = ["" if by_hand else text for text, by_hand in zip(odd, forced[here], strict=True)]
            merge_reasons(reason, odd)
    new = replace(new, reason=tuple(reason))
    require_enough(new, [], few=True)
    told = (*without_reference(reason, paired), *small_numbers(int(new.kept.sum())))
    return replace(new, warnings=told)
