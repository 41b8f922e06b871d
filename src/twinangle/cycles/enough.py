"""Whether enough cycles are kept, and what is said where they are few."""

from __future__ import annotations

from collections import Counter

from twinangle.errors import TooFewCyclesError
from twinangle.signals.recording import CycleSet

LEAST_CYCLES = 3
# König et al. (2014), Gait Posture 39:615-617, of spatio-temporal parameters of 12 healthy adults
# over consecutive cycles: means reliable from 10, variability from 50. For angles by analogy.
CYCLES_FOR_MEAN = 10
CYCLES_FOR_SD = 50


def require_enough(cycles: CycleSet, warnings: list[str]) -> None:
    """Refuse fewer than three kept cycles, with the reasons and what was noticed besides."""
    kept = int(cycles.kept.sum())
    if kept >= LEAST_CYCLES:
        return
    dropped = [
        f"{begin:.2f} s: {text}"
        for begin, text in zip(cycles.start_s, cycles.reason, strict=True)
        if text
    ]
    shown = "; ".join(dropped[:10])
    if len(dropped) > 10:
        kinds = Counter(text.split(":")[0] for text in cycles.reason if text)
        counts = ", ".join(f"{kind} {count}" for kind, count in kinds.most_common())
        shown += f"; and {len(dropped) - 10} more (in all: {counts})"
    text = (
        f"Only {kept} of {len(cycles.reason)} cycles could be kept, and at least {LEAST_CYCLES} "
        f"are needed. Dropped: {shown or 'none'}."
    )
    raise TooFewCyclesError(" ".join([text, *warnings]))


def small_numbers(kept: int) -> list[str]:
    """Say when there are fewer cycles than a mean or an SD needs."""
    if kept < CYCLES_FOR_MEAN:
        what = f"mean curves need {CYCLES_FOR_MEAN} and standard deviations {CYCLES_FOR_SD}"
    elif kept < CYCLES_FOR_SD:
        what = f"standard deviations over cycles need {CYCLES_FOR_SD}"
    else:
        return []
    why = (
        "by analogy with what spatio-temporal parameters of consecutive cycles need (König et al. "
        "2014, Gait Posture 39:615)"
    )
    return [f"{kept} cycles kept: {what}, {why}."]
