"""What decisions on cycles did to a recording: how many out, how many back in, what follows."""

from __future__ import annotations

from twinangle.cycles.overrides import placed
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
    kept = [not text for text in cycles.reason]
    return ChosenCycles(
        out=sum(what == "exclude" and not kept[k] for k, (_, what, _) in chosen.items()),
        back_in=sum(
            what == "include" and kept[k] and bool(before[k]) for k, (_, what, _) in chosen.items()
        ),
        others=sum(k not in chosen and kept[k] != (not text) for k, text in enumerate(before)),
    )
