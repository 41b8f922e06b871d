"""The list of decisions as the results hold it: every one, and whether it counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from twinangle.cycles.overrides import placed
from twinangle.results import TrialResult
from twinangle.results.decided import DecisionRecord
from twinangle.study import Study, Trial
from twinangle.study.decided import in_words
from twinangle.study.decision_scope import pairs_with
from twinangle.study.standing_decisions import Standing
from twinangle.under_test import reference_of, wearable_of

NO_CYCLE = "no cycle that could be used starts there"


def decision_records(study: Study, trials: Sequence[TrialResult]) -> tuple[DecisionRecord, ...]:
    """Return every decision with whether it counts.

    A decision on a cycle of a recording that was analysed counts only where it names one that
    could be used: known after the analysis alone.

    Parameters
    ----------
    study : Study
        With its decisions.
    trials : sequence of TrialResult
        What was found.
    """
    found: dict[tuple[str, str, str], TrialResult] = {}
    for result in trials:
        if result.cycles is not None or result.daily is not None:
            under = (result.label, wearable_of(result.procedure), reference_of(result.procedure))
            found.setdefault(under, result)
    rows = {trial.label: trial for trial in study.trials}

    def why_not(standing: Standing) -> str:
        decision = standing.decision
        trial = rows.get(decision.recording)
        if standing.why_not or decision.kind != "cycle" or trial is None:
            return standing.why_not
        seen = [
            (row, found[trial.label, part.wearable, part.reference])
            for part, row in pairs_with(study, trial, decision.wearable, decision.reference)
            if (trial.label, part.wearable, part.reference) in found
        ]
        lost = [_lost(standing, row, result) for row, result in seen]
        return lost[0] if lost and all(lost) else ""

    return tuple(_record(each, why_not(each)) for each in study.decisions)


def _lost(standing: Standing, trial: Trial, result: TrialResult) -> str:
    """Return why a decision on a cycle came to nothing; empty where it did not."""
    decision, cycles = standing.decision, result.cycles
    if result.daily is not None:
        of_this = (float(decision.value["start_s"]), bool(decision.value["use"]), decision.why)
        acted = [(one.decided_s, one.use, one.why) for one in result.daily.by_hand]
        return "" if of_this in acted else NO_CYCLE
    if cycles is None or trial.by_hand is None:
        return ""
    what = "include" if decision.value["use"] else "exclude"
    entry = (float(decision.value["start_s"]), what, decision.why)
    chosen, _ = placed(trial.by_hand.cycles, cycles.start_s, cycles.end_s)
    index = next((k for k, one in chosen.items() if one == entry), None)
    if index is None:
        return NO_CYCLE
    return NO_CYCLE if decision.value["use"] and cycles.reason[index] else ""


def _record(standing: Standing, why_not: str) -> DecisionRecord:
    decision = standing.decision
    value: Any = decision.value
    return DecisionRecord(
        id=decision.id,
        when=decision.when,
        who=decision.who,
        recording=decision.recording,
        kind=decision.kind,
        words=in_words(decision),
        why=decision.why,
        counts=not why_not,
        why_not=why_not,
        agreement_hidden=standing.hidden,
        lag=_number(value.get("lag_s")),
        drift=_number(value.get("drift_ppm", 0.0 if decision.kind == "lag" else None)),
        interval=str(value.get("which", "")),
        start=_number(value.get("start_s")),
        end=_number(value.get("end_s")),
        use=value.get("use"),
        undoes=value.get("of"),
        version=decision.version,
        input=decision.input,
        wearable=decision.wearable,
        reference_name=decision.reference,
    )


def _number(value: float | None) -> float | None:
    return None if value is None else float(value)
