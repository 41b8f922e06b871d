"""Whether enough cycles are kept, and what is said where they are few."""

from __future__ import annotations

from collections import Counter

from twinangle.errors import TooFewCyclesError
from twinangle.notices import Notice
from twinangle.signals.recording import CycleSet
from twinangle.wording import count

LEAST_CYCLES = 3
# König et al. (2014), Gait Posture 39:615-617, of spatio-temporal parameters of 12 healthy adults
# over consecutive cycles: means reliable from 10, variability from 50. For angles by analogy.
CYCLES_FOR_MEAN = 10
CYCLES_FOR_SD = 50
# Kinds of reasons: what is no cycle of the movement; what any bout loses; what a rule judged odd.
NOT_THE_MOVEMENT = ("masked", "gap", "pause", "calibration", "isolated")
SHORT_LACKS = ("start", "stop")
OUTLIERS = ("duration outlier", "curve outlier")


def reason_kind(reason: str) -> str:
    """Return the rule that a reason names."""
    return reason.split(":")[0]


def require_enough(cycles: CycleSet, warnings: list[str], *, few: bool = False) -> None:
    """Refuse fewer than three kept cycles, with the reasons and what was noticed besides.

    Parameters
    ----------
    cycles : CycleSet
        Cycles found and judged.
    warnings : list of str
        What was noticed.
    few : bool
        Let one or two pass where the recording is short: where starts, stops and what is no part of
        the movement are all that was left out.

    Raises
    ------
    TooFewCyclesError
    """
    text = shortage(cycles)
    if not text or (few and cycles.kept.any() and _short(cycles)):
        return
    raise TooFewCyclesError(" ".join([text, *warnings]), cycles)


def _short(cycles: CycleSet) -> bool:
    """Tell whether no cycle was left out by a rule that judges it."""
    return all(reason_kind(text) in (*SHORT_LACKS, *NOT_THE_MOVEMENT, "") for text in cycles.reason)


def shortage(cycles: CycleSet) -> str:
    """Say how many cycles are kept of how many and why not the others; empty where enough are."""
    kept = int(cycles.kept.sum())
    if kept >= LEAST_CYCLES:
        return ""
    dropped = [
        f"{begin:.2f} s: {text}"
        for begin, text in zip(cycles.start_s, cycles.reason, strict=True)
        if text
    ]
    shown = "; ".join(dropped[:10])
    if len(dropped) > 10:
        kinds = Counter(reason_kind(text) for text in cycles.reason if text)
        counts = ", ".join(f"{kind} {count}" for kind, count in kinds.most_common())
        shown += f"; and {len(dropped) - 10} more (in all: {counts})"
    return (
        f"Only {kept} of {count(len(cycles.reason), 'cycle')} could be kept, and at least "
        f"{LEAST_CYCLES} are needed. Dropped: {shown or 'none'}."
    )


def small_numbers(kept: int) -> list[str]:
    """Say when there are fewer cycles than a mean or an SD needs."""
    if kept < CYCLES_FOR_MEAN:
        what = f"mean curves need {CYCLES_FOR_MEAN} and standard deviations {CYCLES_FOR_SD}"
    elif kept < CYCLES_FOR_SD:
        what = (
            f"standard deviations over cycles need {CYCLES_FOR_SD}, mean curves {CYCLES_FOR_MEAN}"
        )
    else:
        return []
    source = (
        "These numbers were found for times and lengths of consecutive steps (König et al. 2014, "
        "Gait Posture 39:615) and are taken over for angles"
    )
    said = f"{count(kept, 'cycle')} kept: {what}. {source}."
    return [Notice(said, "few-cycles", size=-kept)]
