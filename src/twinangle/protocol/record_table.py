"""The table to fill in by hand: one row a trial, with the files that the study expects."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from twinangle.errors import StudyError
from twinangle.naming import listed, suggestion
from twinangle.protocol.by_instrument import own_rows, wearables_of
from twinangle.protocol.movements_asked import zeroed_at_standing
from twinangle.signals.recording import Interval
from twinangle.study import AngleWearable, SensorFiles, Study, Trial

SPARE_ROWS = 6  # of a table that the study leaves empty
LEAST_ROWS = 4  # of a session: room for a trial that has to be repeated
OPEN = "file name to be written down"


@dataclass(frozen=True, slots=True)
class RecordRow:
    """One trial: its name, its files, and what is known of its times; empty cells are boxes."""

    name: str
    files: tuple[str, ...]
    times: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RecordTable:
    """The rows, the heads of the columns of times, and what else is written down a trial."""

    rows: tuple[RecordRow, ...]
    times: tuple[str, ...]
    covariates: tuple[str, ...]
    note: str = ""


def chosen_trials(study: Study, participant: str | None, session: str | None) -> tuple[Trial, ...]:
    """Return the trials of a participant and a session, all where none is named.

    Raises
    ------
    StudyError
        If the trials table has no such participant or session.
    """
    found = study.trials
    for column, wanted in (("participant", participant), ("session", session)):
        if wanted is None:
            continue
        known = list(dict.fromkeys(str(getattr(trial, column)) for trial in found))
        found = tuple(trial for trial in found if getattr(trial, column) == wanted)
        if not found:
            there = f"it has {listed(known)}" if known else "it has no rows yet"
            raise StudyError(
                f"{study.table.name}: no row has the {column} {wanted!r}; {there}."
                f"{suggestion(wanted, known)}"
            )
    return found


def record_table(study: Study, trials: tuple[Trial, ...], columns: tuple[str, ...]) -> RecordTable:
    """Return the table of one session.

    Where the trials are of several people or sessions, there is one row for each condition, trial
    and side, and a file's name is given with {participant} and {session} in place of the code if
    all agree in that, else left to be written down.

    Parameters
    ----------
    study : Study
    trials : tuple of Trial
        Those of the session, or of the whole study.
    columns : tuple of str
        The covariates of the trials table.
    """
    heads = _time_heads(study)
    sessions = list(dict.fromkeys((t.participant, t.session) for t in trials))
    note = ""
    if not trials:
        rows = [_empty(heads)] * SPARE_ROWS
        note = "The trials table has no rows yet: write down condition, trial, side and file names."
    elif len(sessions) == 1:
        rows = [_row(study, trial, heads) for trial in trials]
        rows += [_empty(heads)] * (LEAST_ROWS - len(rows))
    else:
        rows = _pattern(study, trials, heads)
        note = (
            f"The pattern of {len(sessions)} sessions of the trials table; for one with its own "
            "file names: `--participant` and `--session`."
        )
    return RecordTable(tuple(rows), heads, columns, note)


def _empty(heads: tuple[str, ...]) -> RecordRow:
    return RecordRow("", (), ("",) * len(heads))


def _time_heads(study: Study) -> tuple[str, ...]:
    """Return the stretches to be written down, by what the study needs of them."""
    what = "Walk" if study.cycles.movement == "walking" else "Exercise"
    ready = all(isinstance(one.study.wearable, AngleWearable) for one in wearables_of(study))
    heads = [] if ready and not zeroed_at_standing(study) else ["Standing"]
    heads += [] if ready else ["Functional"]
    return (*heads, what)


def _row(study: Study, trial: Trial, heads: tuple[str, ...]) -> RecordRow:
    if all(own.exclude for *_, own in own_rows(study, trial)):
        return RecordRow(_name(trial), (f"excluded: {trial.exclude}",), ("–",) * len(heads))
    return RecordRow(
        _name(trial),
        tuple(f"{role}: {name}" for role, name in _files(study, trial)),
        tuple(_times(study, trial, head) for head in heads),
    )


def _times(study: Study, trial: Trial, head: str) -> str:
    """Return what is known of a stretch, by wearable where they differ in it."""
    known: dict[str, str] = {}
    for name, _, plain, own in own_rows(study, trial):
        ready = isinstance(plain.wearable, AngleWearable)
        parts = {"Standing": own.static, "Functional": own.functional}
        if not own.exclude and not (ready and study.parts and head == "Functional"):
            known[name] = _span(plain, parts[head]) if head in parts else _analysed(own)
    told = set(known.values())
    if len(told) < 2:
        return "".join(told)
    return "; ".join(f"{name} {cell}" for name, cell in known.items() if cell)


def _name(trial: Trial) -> str:
    parts = [trial.condition, f"trial {trial.trial}", trial.side]
    return ", ".join(part for part in parts if part)


def _span(study: Study, part: object) -> str:
    if isinstance(part, Interval):
        return f"{part.start_s:g} to {part.end_s:g} s"
    return "; ".join(name for _, name in _named(study, "", part))


def _analysed(trial: Trial) -> str:
    if trial.start_s is None and trial.end_s is None:
        return ""
    start = "begin" if trial.start_s is None else f"{trial.start_s:g}"
    return f"{start} to {'end' if trial.end_s is None else f'{trial.end_s:g} s'}"


def _files(study: Study, trial: Trial) -> list[tuple[str, str]]:
    """Return the files of a trial by their role, relative to the study folder."""
    worn, against, events = {}, {}, {}
    for wearable, reference, plain, own in own_rows(study, trial):
        if not own.exclude:
            role = f"wearable {wearable}".rstrip()
            worn[role] = _named(plain, role, own.wearable) or [(role, OPEN)]
            events[wearable] = _named(plain, f"events {wearable}".rstrip(), own.events)
            if plain.reference is not None:
                role = f"reference {reference}".rstrip()
                against[role] = _named(plain, role, own.reference)
    return [pair for group in (worn, against, events) for named in group.values() for pair in named]


def _named(study: Study, role: str, file: object) -> list[tuple[str, str]]:
    if isinstance(file, SensorFiles):
        places = ("proximal", "distal")
        pairs = zip(places, file.both, strict=True)
        whose = role.removeprefix("wearable").strip()
        return [(f"{whose} {place}".strip(), _relative(study, path)) for place, path in pairs]
    if isinstance(file, Path) and file != study.folder:
        return [(role, _relative(study, file))]
    return []


def _relative(study: Study, path: Path) -> str:
    if path.is_relative_to(study.folder):
        return path.relative_to(study.folder).as_posix()
    return path.resolve().relative_to(study.folder.resolve()).as_posix()


def _pattern(study: Study, trials: tuple[Trial, ...], heads: tuple[str, ...]) -> list[RecordRow]:
    """Return one row for each condition, trial and side that any session has."""
    slots: dict[str, list[Trial]] = {}
    for trial in trials:
        slots.setdefault(_name(trial), []).append(trial)
    rows = []
    for name, several in slots.items():
        recorded = [trial for trial in several if not trial.exclude] or several
        own = [dict(_files(study, trial)) for trial in recorded]
        roles = dict.fromkeys(role for files in own for role in files)
        named = tuple(
            f"{role}: {_one_name([files.get(role, OPEN) for files in own], recorded)}"
            for role in roles
        )
        spans = [_row(study, trial, heads).times for trial in recorded]
        times = tuple(
            cells[0] if len(set(cells)) == 1 else "" for cells in zip(*spans, strict=True)
        )
        rows.append(RecordRow(name, named, times))
    return rows


def _one_name(names: list[str], trials: list[Trial]) -> str:
    """Return the name that all have once their own codes are taken for {participant}, {session}."""
    if len(set(names)) == 1:
        return names[0]
    for marked in _MARKS:
        found = {_marked(name, trial, marked) for name, trial in zip(names, trials, strict=True)}
        if len(found) == 1:
            return found.pop()
    return OPEN


def _marked(name: str, trial: Trial, marked: str) -> str:
    """Return a name with {participant}, and with {session} where it stands as `marked` says."""
    name = name.replace(trial.participant, "{participant}")
    if not marked:
        return name
    return re.sub(marked.format(re.escape(trial.session)), "{session}", name)


# How a session stands in a name: not at all, behind a word for it, alone between separators.
_MARKS = (
    "",
    r"(?i)(?:(?<=s)|(?<=s-)|(?<=n-)|(?<=day)){}(?![A-Za-z0-9])",
    r"(?<![A-Za-z0-9]){}(?![A-Za-z0-9])",
)
