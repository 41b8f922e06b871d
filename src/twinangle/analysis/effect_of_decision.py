"""What one decision would move, shown before it is made: its recording, and the pooled numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from twinangle.analysis.instruments import analyse_pair
from twinangle.analysis.opened import Opened
from twinangle.analysis.trial import analyse_trial
from twinangle.analysis.without_decisions import compared
from twinangle.errors import StudyError
from twinangle.results import TrialResult
from twinangle.results.decided import WithoutDecisions
from twinangle.study import Decision, Study, Trial, apply_decisions
from twinangle.study.decision_scope import HashOf
from twinangle.study.decisions import recording_hash


@dataclass(frozen=True, slots=True, eq=False)
class Effect:
    """What a decision moves.

    Parameters
    ----------
    before, after : tuple of TrialResult
        The recording without and with it, one a procedure; `status` and `reason` say where it
        fails.
    pooled : tuple of WithoutDecisions
        The main numbers of the study: `value` with the decision, `without` as they were before.
    results : tuple of TrialResult
        Every trial of the study with the decision: what the next effect is held against once it is
        made.
    """

    before: tuple[TrialResult, ...]
    after: tuple[TrialResult, ...]
    pooled: tuple[WithoutDecisions, ...]
    results: tuple[TrialResult, ...]


def effect_of(
    bare: Study,
    decisions: Iterable[Decision],
    results: Sequence[TrialResult],
    decision: Decision,
    *,
    opened: Opened | None = None,
    hash_of: HashOf = recording_hash,
    pair: int | None = None,
) -> Effect:
    """Return what a decision would move, all others as they are.

    Only its recording is analysed again, and only what it is part of is pooled.

    Parameters
    ----------
    bare : Study
        As its files have it (:func:`twinangle.study.read_bare_study`).
    decisions : iterable of Decision
        Those made before, in order.
    results : sequence of TrialResult
        What :func:`analyse_trial` found of every trial under those, in the order of the trials
        table; the traces are not needed.
    decision : Decision
        The further one; an undo is one too.
    opened : Opened, optional
        Its recording as it was read before: then no file is read, and no angle computed, for a
        lag, a cycle or the whole recording.
    hash_of : callable
        As of :func:`twinangle.study.apply_decisions`.
    pair : int, optional
        Of a study of several instruments, the place of one pair among `bare.parts`: then `results`
        are those of that pair's study, and nothing else is analysed.

    Raises
    ------
    StudyError
        If the trials table has not exactly one recording of its name.
    """
    before = tuple(decisions)
    last = before[-1].id if before else 0
    study = apply_decisions(bare, (*before, replace(decision, id=last + 1)), hash_of=hash_of)
    trial = _only(study, decision.recording)
    if pair is None:
        after = analyse_trial(study, trial, opened=opened)
    else:
        after = analyse_pair(study.rows_of(trial), pair, opened=opened)
    here = [k for k, one in enumerate(results) if one.label == decision.recording]
    several = list(results)
    for k, one in zip(here, after, strict=True):
        several[k] = one
    was = tuple(results[k] for k in here)
    return Effect(
        before=was,
        after=after,
        pooled=compared(results, several, study.options, after),
        results=tuple(several),
    )


def _only(study: Study, label: str) -> Trial:
    found = [trial for trial in study.trials if trial.label == label]
    if len(found) != 1:
        raise StudyError(
            f"recording {label!r}: {len(found) or 'no'} rows of the trials table are called so; "
            "accepted: the name of one."
        )
    return found[0]
