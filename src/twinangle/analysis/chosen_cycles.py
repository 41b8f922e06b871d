"""What decisions on cycles did to a recording: how many out, how many back in, what follows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from twinangle.cycles.overrides import Override, placed
from twinangle.results import TrialResult
from twinangle.results.decided import ChosenCycles
from twinangle.study import Trial


def chosen_cycles(trial: Trial, found: TrialResult, bare: TrialResult) -> ChosenCycles | None:
    """Return what decisions on the cycles of a trial did.

    Parameters
    ----------
    trial : Trial
        With its decisions.
    found, bare : TrialResult
        With them and without; the same cycles were found, judged otherwise.

    Returns
    -------
    ChosenCycles or None
        None where either has no cycles.
    """
    if found.cycles is None or bare.cycles is None or trial.by_hand is None:
        return None
    cycles, before = found.cycles, bare.cycles.reason
    chosen, _ = placed(trial.by_hand.cycles, cycles.start_s, cycles.end_s)
    return count_chosen(chosen, cycles.reason, before)


def count_chosen(
    chosen: Mapping[int, Override], reason: Sequence[str], before: Sequence[str]
) -> ChosenCycles:
    """Return what decisions did.

    Parameters
    ----------
    chosen : mapping of int to (float, "include" or "exclude", str)
        What was decided, by index of the cycle.
    reason, before : sequence of str
        Why each cycle is left out, with the decisions and without; empty where it is kept.
    """
    kept = [not text for text in reason]
    return ChosenCycles(
        out=sum(what == "exclude" and not kept[k] for k, (_, what, _) in chosen.items()),
        back_in=sum(
            what == "include" and kept[k] and bool(before[k]) for k, (_, what, _) in chosen.items()
        ),
        others=sum(k not in chosen and kept[k] != (not text) for k, text in enumerate(before)),
    )
