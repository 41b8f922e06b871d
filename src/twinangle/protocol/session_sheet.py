"""The sheet as one value: read from a study that may still be unrecorded, put in order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from twinangle.analysis import declared_faults
from twinangle.cautions import MOVEMENTS, RESEARCH, ROUTE, RULES, STRAPS
from twinangle.errors import StudyError
from twinangle.protocol.by_instrument import references_of, wearables_of
from twinangle.protocol.instruments_worn import placement, uses_magnetometers
from twinangle.protocol.movement_studied import route, route_boxes, strides
from twinangle.protocol.movements_asked import clocks, functional, loads_the_joint, standing
from twinangle.protocol.record_table import RecordTable, chosen_trials, record_table
from twinangle.signals.joint import JOINTS
from twinangle.study import Study, Trial, covariate_columns, read_planned_study
from twinangle.wording import listing

CODE = (
    "People by code only: no name, initials or date of birth on this sheet; the list of codes is "
    "kept elsewhere, locked away."
)
FIELDS = ("Participant code", "Session", "Date", "Recorded by (code)")


@dataclass(frozen=True, slots=True)
class Part:
    """A heading with what to do under it."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SessionSheet:
    """How one session is recorded, and what is written down of it; only words and boxes."""

    title: str
    about: str
    fields: tuple[tuple[str, str], ...]  # what to write down of the session, and what is known
    parts: tuple[Part, ...]
    conditions: tuple[str, ...]  # rows of the table of routes
    route: tuple[str, ...]  # its columns
    record: RecordTable
    cautions: tuple[str, ...]
    inputs: tuple[Path, ...]  # files of the study, which no sheet may be written over


def session_sheet(
    study: str | Path, *, participant: str | None = None, session: str | None = None
) -> SessionSheet:
    """Return the session sheet of a study, recorded or only planned.

    Parameters
    ----------
    study : path
        The study file, or its folder. Recordings, and rows and times of the trials table, may be
        missing.
    participant, session : str, optional
        Whose sheet; without them one for any session of the study.

    Raises
    ------
    StudyError
        If a setting is not accepted, or the table has no such participant or session.
    """
    found = read_planned_study(study)
    several = [part.study for part in found.parts] or [found]
    faults = dict.fromkeys(
        text for each in several for text in declared_faults(each, run_functions=False)
    )
    if faults:
        raise StudyError("\n  ".join(faults))
    trials = chosen_trials(found, participant, session)
    given = (participant or _only(trials, "participant"), session or _only(trials, "session"))
    conditions = tuple(dict.fromkeys(trial.condition for trial in trials)) or ("", "")
    return SessionSheet(
        title=f"Session sheet: {found.title}",
        about=_about(found),
        fields=tuple(zip(FIELDS, (*given, "", ""), strict=True)),
        parts=_parts(found, trials),
        conditions=conditions,
        route=route_boxes(found),
        record=record_table(found, trials, covariate_columns(found)),
        cautions=_cautions(found),
        inputs=_inputs(found),
    )


def _of_rows(study: Study, trials: Sequence[Trial]) -> Study:
    """Return the study as if its table had these rows alone, for each of several instruments."""
    rows = {trial.row for trial in trials}
    return replace(
        study,
        trials=tuple(trial for trial in study.trials if trial.row in rows),
        parts=tuple(
            replace(part, study=_of_rows(part.study, trials))
            for part in study.parts
            if part.study is not study
        ),
    )


def _only(trials: Sequence[Trial], column: str) -> str:
    """Return the value that all trials share; empty where they differ or there are none."""
    values = {str(getattr(trial, column)) for trial in trials}
    return values.pop() if len(values) == 1 else ""


def _about(study: Study) -> str:
    joint = JOINTS[study.joint]
    worn = listing(
        f"{_WEARABLES[one.study.wearable.kind]}{_called(one.name)}" for one in wearables_of(study)
    )
    against = (
        "no reference"
        if study.reference is None
        else "against "
        + listing(
            f"{_KINDS[one.study.reference.kind]}{_called(one.name)}"
            for one in references_of(study)
            if one.study.reference is not None
        )
    )
    invented = " Invented data: no person is recorded." if study.invented else ""
    return f"{joint.label}: {worn}; {against}.{invented}"


def _called(name: str) -> str:
    return f" ({name})" if name else ""


_WEARABLES = {
    "inertial": "two inertial sensors",
    "orientation": "two sensors that deliver orientations",
    "angle": "a device that computes the angle itself",
}
_KINDS = {
    "angle": "a goniometer or a ready angle",
    "orientation": "the orientations of two segments",
    "markers": "optical markers",
}


def _parts(study: Study, trials: Sequence[Trial]) -> tuple[Part, ...]:
    sides = tuple(dict.fromkeys(trial.side for trial in trials if trial.side))
    walking = study.cycles.movement == "walking"
    own = _of_rows(study, trials)
    found = (
        ("Before", _before(study)),
        ("Placement", placement(study, sides)),
        ("Clocks", clocks(study)),
        ("Neutral standing", standing(own)),
        ("Functional movement", functional(own)),
        ("Walking" if walking else "Exercise", [*strides(study), *route(study)]),
        ("Write down", _to_note(study)),
    )
    numbered = [(title, lines) for title, lines in found if lines]
    return tuple(
        Part(f"{k}. {title}", tuple(lines)) for k, (title, lines) in enumerate(numbered, start=1)
    )


def _before(study: Study) -> list[str]:
    alone = study.reference is None and len(wearables_of(study)) == 1
    instruments = "instrument" if alone else "instruments"
    return [
        (
            "Ethics approval and written consent are there; the participant knows that they may "
            f"stop at any time. {CODE}"
        ),
        (
            f"Batteries, storage and clocks of the {instruments}; a test recording of some "
            "seconds, read with `twinangle describe`."
        ),
    ]


def _to_note(study: Study) -> list[str]:
    magnets = ", magnets or iron met" if uses_magnetometers(study) else ""
    speed = "speed, " if study.cycles.movement == "walking" else "pace, load, "
    return [
        (
            "Clock time of every start and stop; what was put on, shifted or taken off and when"
            f"{magnets}; shoes, {speed}aids; stumbles, stops, pain; skin before and after."
        ),
        (
            "A trial that went wrong is kept, with the reason in the column exclude; a stretch of "
            "it in the column mask."
        ),
    ]


def _cautions(study: Study) -> tuple[str, ...]:
    outdoors = study.cycles.movement == "walking"
    return (
        RESEARCH,
        *((MOVEMENTS,) if loads_the_joint(study) else ()),
        STRAPS,
        *((ROUTE,) if outdoors else ()),
        RULES,
    )


def _inputs(study: Study) -> tuple[Path, ...]:
    files = [study.path, study.table]
    trials = [trial for part in study.parts for trial in part.study.trials] or study.trials
    for trial in trials:
        for each in (trial.wearable, trial.reference, trial.static, trial.functional, trial.events):
            files += [each] if isinstance(each, Path) else list(getattr(each, "both", ()))
    return tuple(dict.fromkeys(files))
