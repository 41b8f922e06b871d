"""Which wearables and references of a study a decision is about."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from twinangle.naming import listed, suggestion
from twinangle.study.decision import INSTRUMENTS, Decision
from twinangle.study.instruments import Part, cutting_order
from twinangle.study.trial_row import Trial

if TYPE_CHECKING:  # which is read with its decisions
    from twinangle.study.study_file import Study

HashOf = Callable[["Study", Trial, str, str], str]
"""Returns the hash of a recording's files, as far as they are of the instruments named."""

# Kinds that mean nothing definite where one of several instruments is not named.
_NEEDS = {"lag": INSTRUMENTS, "interval": ("wearable",), "cycle": ("wearable",)}


def is_of(part: Part, wearable: str, reference: str) -> bool:
    """Tell whether a pair has these instruments; an empty name is any."""
    wanted = zip((wearable, reference), part.sections, strict=True)
    return all(name in ("", own) for name, own in wanted)


def pairs_with(
    study: Study, trial: Trial, wearable: str = "", reference: str = ""
) -> tuple[tuple[Part, Trial], ...]:
    """Return a recording as every pair that has these instruments sees it, all where empty."""
    pairs = study.rows_of(trial)
    return tuple((part, row) for part, row in pairs if is_of(part, wearable, reference))


def unfit_names(study: Study, decision: Decision) -> str:
    """Return why a decision's names fit no instrument of a study; empty where they do."""
    parts = study.parts or (Part("", "", study),)
    for at, kind in enumerate(INSTRUMENTS):
        name = getattr(decision, kind)
        known = list(dict.fromkeys(part.sections[at] for part in parts if part.sections[at]))
        if name and name not in known:
            accepted = f"accepted: {listed(known, last='or')}{suggestion(name, known)}"
            if not known:
                accepted = f"accepted: none, since the study's [{kind}] has no name"
            return f"the study has no {kind} {name!r}; {accepted.rstrip('?.')}"
        several = list(dict.fromkeys(getattr(part, kind) for part in parts))
        if not name and len(several) > 1 and kind in _NEEDS.get(decision.kind, ()):
            return (
                f"it does not say which {kind} it is about; accepted as its `{kind}`: "
                f"{listed(several, last='or')}"
            )
    return _unfit_cutter(study, decision) if decision.kind == "cycle" else ""


def _unfit_cutter(study: Study, decision: Decision) -> str:
    """Return why a cycle is not for the wearable named to be left out; empty where it is.

    One wearable cuts the cycles of a recording, and what becomes of one goes to the others; but
    where recordings are read in stretches each cuts its own.
    """
    if study.daily_life.stretch_min is not None:
        return ""
    rows = [trial for trial in study.trials if trial.label == decision.recording]
    parts = [part for trial in rows[:1] for part, _ in study.rows_of(trial)]
    if len({part.wearable for part in parts}) < 2:
        return ""
    cutter = cutting_order(parts)[0]
    if decision.wearable == cutter:
        return ""
    return (
        f"the cycles of this recording are cut by wearable {cutter!r} and carried to the others, "
        f"with what is left out of them; accepted as its `wearable`: {cutter!r}"
    )


def with_names(
    study: Study, decisions: Iterable[Decision], hash_of: HashOf
) -> tuple[tuple[Decision, ...], frozenset[int]]:
    """Return decisions, those made when the study had one pair under the names of that pair.

    A decision that names nobody, on the very files of one pair and of no other, was made on that
    pair, before there were several.

    Returns
    -------
    decisions : tuple of Decision
        In their order.
    recognised : frozenset of int
        The ids of those that were given names; their files are those that were looked at.
    """
    every = tuple(decisions)
    if len(study.parts) < 2:
        return every, frozenset()
    rows = {trial.label: trial for trial in study.trials}
    found = {}
    for one in every:
        trial = rows.get(one.recording)
        if trial is None or one.wearable or one.reference or one.kind not in (*_NEEDS, "recording"):
            continue
        if one.kind == "recording" and hash_of(study, trial, "", "") == one.input:
            continue  # it is about all of them
        of = [p for p in study.parts if hash_of(study, trial, *p.sections) == one.input]
        if len(of) == 1:
            reference = "" if one.kind == "interval" else of[0].reference
            found[one.id] = replace(one, wearable=of[0].wearable, reference=reference)
    return tuple(found.get(one.id, one) for one in every), frozenset(found)
