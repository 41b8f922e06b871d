"""Decisions put into a study: each recording's row as people decided, and which decisions count."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from twinangle.errors import StudyError
from twinangle.notices import Notice
from twinangle.signals.recording import Interval
from twinangle.study.by_hand import ByHand, Cycle
from twinangle.study.decision_scope import HashOf, is_of, pairs_with, unfit_names, with_names
from twinangle.study.decisions import EVERY_RECORDING, Decision, read_decisions, recording_hash
from twinangle.study.from_file import read_bare_study
from twinangle.study.instruments import Part
from twinangle.study.standing_decisions import Standing, standings
from twinangle.study.study_file import Study
from twinangle.study.trial_row import Trial, row_of_all

ACTING = ("lag", "interval", "cycle", "recording")  # kinds that change what is computed
CHANGED = "the recording's files have changed since"


def read_study(path: str | Path, *, allow_own_procedures: bool = False) -> Study:
    """Read a study file, its trials table and what people decided, and check all of it.

    Parameters
    ----------
    path : path
        The study file, or the folder that holds `study.toml`.
    allow_own_procedures : bool
        Whether the file may name Python functions (``module:function``), which a run then calls.
        A study file may come from somebody else, so that it may not unless this says so.

    Returns
    -------
    Study
        Settings with every default filled in, and the trials with resolved paths, each as
        `apply_decisions` leaves it.

    Raises
    ------
    StudyError
        Every fault at once, one a line: file, line and key, or row and column; what was found;
        what would be accepted.
    """
    study = read_bare_study(path, allow_own_procedures=allow_own_procedures)
    decisions = read_decisions(study.folder)
    return apply_decisions(study, decisions) if decisions else study


def apply_decisions(
    study: Study, decisions: Iterable[Decision], *, hash_of: HashOf = recording_hash
) -> Study:
    """Return a study with what people decided in the rows of its recordings.

    `exclude` in the trials table stands over decisions; decisions stand over the row's other cells,
    over the table of overrides and over what would be found; a later one over an earlier one.

    Parameters
    ----------
    study : Study
        As its files have it, without decisions.
    decisions : iterable of Decision
        In the order of their file.
    hash_of : callable
        Returns the hash of a recording's files, given study, row, and the names of the wearable and
        the reference that are meant (empty for all); asked once for each recording and names of
        which something is decided that would act.

    Returns
    -------
    Study
        `decisions` holds every one with whether it counts. One whose recording's files have changed
        since is named, not applied: what was looked at is not what is there. So is one of a
        recording that the trials table does not hold, and one whose names fit no instrument. Of
        several instruments each pair has its own rows.
    """
    hash_of = _once(hash_of)
    named, recognised = with_names(study, decisions, hash_of)
    judged = _judge(study, standings(named), hash_of, recognised)
    fitting = [each for each in judged if not unfit_names(study, each.decision)]
    parts = tuple(
        replace(part, study=replace(part.study, trials=_rows(part.study.trials, fitting, part)))
        for part in study.parts
    )
    if parts:
        rows = tuple(map(row_of_all, zip(*(part.study.trials for part in parts), strict=True)))
    else:
        rows = _rows(study.trials, fitting, Part("", "", study))
    known = {EVERY_RECORDING, *(trial.label for trial in study.trials)}
    lost = (
        _told(each)
        for each in judged
        if (each.decision.recording not in known or each not in fitting) and _would_act(each)
    )
    return replace(
        study, trials=rows, parts=parts, decisions=judged, warnings=(*study.warnings, *lost)
    )


def _once(hash_of: HashOf) -> HashOf:
    """Return the same, asked once of each recording and names."""
    known: dict[tuple[str, str, str], str] = {}

    def hashed(study: Study, trial: Trial, wearable: str, reference: str) -> str:
        key = (trial.label, wearable, reference)
        if key not in known:
            known[key] = hash_of(study, trial, wearable, reference)
        return known[key]

    return hashed


def _judge(
    study: Study, found: Sequence[Standing], hash_of: HashOf, recognised: Container[int]
) -> tuple[Standing, ...]:
    """Return the decisions, with why those that stand do not count where they do not."""
    rows: dict[str, list[Trial]] = {}
    for trial in study.trials:
        rows.setdefault(trial.label, []).append(trial)

    def why_not(decision: Decision) -> str:
        name = decision.recording
        if name == EVERY_RECORDING or decision.kind == "undo":
            return ""
        several = rows.get(name, [])
        if len(several) != 1:
            return f"{len(several) or 'no'} rows of the trials table are called so"
        fault = unfit_names(study, decision) or _unusable(study, several[0], decision)
        if fault or decision.id in recognised:
            return fault
        try:
            now = hash_of(study, several[0], decision.wearable, decision.reference)
        except StudyError as error:
            return str(error).rstrip(".")
        return "" if now == decision.input else CHANGED

    return tuple(
        each if not each.stands else replace(each, why_not=why_not(each.decision)) for each in found
    )


def _unusable(study: Study, trial: Trial, decision: Decision) -> str:
    """Return why a decision cannot be about its recording; empty where it can."""
    pairs = [row for _, row in pairs_with(study, trial, decision.wearable, decision.reference)]
    rows = [row for row in pairs if not row.exclude]
    if not rows:
        return f"the trials table excludes the recording ({pairs[0].exclude})"
    if decision.kind == "lag" and rows[0].reference is None:
        return "the recording has no reference"
    return ""


def _rows(trials: Sequence[Trial], judged: Sequence[Standing], part: Part) -> tuple[Trial, ...]:
    """Return the rows of a pair of instruments as people decided."""
    own = [e for e in judged if is_of(part, e.decision.wearable, e.decision.reference)]
    return tuple(_decided(trial, _of(trial, own)) for trial in trials)


def _of(trial: Trial, judged: Sequence[Standing]) -> list[Standing]:
    return [each for each in judged if each.decision.recording == trial.label]


def _would_act(standing: Standing) -> bool:
    """Tell whether a decision would act if it counted: neither undone nor stood over."""
    over = standing.why_not.endswith("stands over it") or standing.why_not.startswith("undone")
    return standing.decision.kind in ACTING and not over


def in_words(decision: Decision) -> str:
    """Return what was decided, and of which of several instruments, in a few words."""
    of = instruments_in_words(decision)
    return f"{_said(decision)}, {of}" if of else _said(decision)


def instruments_in_words(decision: Decision) -> str:
    """Return which of several instruments a decision is about; empty where it names none."""
    if decision.wearable and decision.reference:
        return f"{decision.wearable} against {decision.reference}"
    return decision.wearable or (f"all against {decision.reference}" if decision.reference else "")


def _said(decision: Decision) -> str:
    value: Any = decision.value
    match decision.kind:
        case "lag":
            drift = float(value.get("drift_ppm", 0.0))
            return f"a lag of {value['lag_s']:g} s" + (f" and {drift:g} ppm" if drift else "")
        case "interval":
            name = {"standing": "neutral standing", "functional": "the functional movement"}.get(
                value["which"], "the stretch to analyse"
            )
            return f"{name} from {value['start_s']:g} to {value['end_s']:g} s"
        case "cycle":
            return f"the cycle at {value['start_s']:.2f} s {'in' if value['use'] else 'out'}"
        case "recording":
            return f"the recording {'in' if value['use'] else 'out'}"
        case "undo":
            return f"undo {value['of']}"
        case "blind":
            return f"the agreement {'hidden' if value['on'] else 'shown again'}"
    return "looked at"


def _told(standing: Standing) -> Notice:
    """Name a decision that does not count although nobody took it back."""
    decision = standing.decision
    again = (
        "Look at the recording again and decide anew, or undo it"
        if standing.why_not == CHANGED
        else "Undo it, or mend that"
    )
    text = (
        f"Decision {decision.id} by {decision.who} on {decision.recording} ({in_words(decision)}: "
        f"{decision.why}) is not applied: {standing.why_not}. {again}."
    )
    return Notice(text, "decision-not-applied", "grave")


def _decided(trial: Trial, found: Sequence[Standing]) -> Trial:
    """Return a row of the trials table as people decided."""
    if trial.exclude:
        return trial
    told = [_told(each) for each in found if each.why_not and _would_act(each)]
    acting = [e.decision for e in found if not e.why_not and e.decision.kind in ACTING]
    told += [
        Notice(f"By hand: {in_words(each)} ({each.why}).", f"{each.kind}-by-hand", "note")
        for each in acting
        if each.kind in ("lag", "interval")
    ]
    hand, row = ByHand(told=tuple(told)), trial
    for each in acting:
        hand, row = _with(hand, row, each)
    return row if hand == ByHand() else replace(row, by_hand=hand, exclude=hand.excluded)


def _with(hand: ByHand, row: Trial, decision: Decision) -> tuple[ByHand, Trial]:
    """Return a row, and what goes beyond it, with one decision more."""
    value: Any = decision.value
    if decision.kind == "lag":
        lag_s, drift_ppm = float(value["lag_s"]), float(value.get("drift_ppm", 0.0))
        return replace(hand, lag_s=lag_s, drift_ppm=drift_ppm), row
    if decision.kind == "cycle":
        what: Cycle = (
            float(value["start_s"]), "include" if value["use"] else "exclude", decision.why
        )  # fmt: skip
        return replace(hand, cycles=(*hand.cycles, what)), row
    if decision.kind == "recording":
        return replace(hand, excluded="" if value["use"] else f"by hand: {decision.why}"), row
    part = Interval(float(value["start_s"]), float(value["end_s"]))
    if value["which"] == "analysed":
        return hand, replace(row, start_s=part.start_s, end_s=part.end_s)
    if value["which"] == "standing":
        return hand, replace(row, static=part)
    return hand, replace(row, functional=part)
