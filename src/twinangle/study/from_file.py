"""From `study.toml` to a `Study`: read whole, every fault listed at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any, cast

from pydantic import ValidationError

from twinangle.errors import StudyError
from twinangle.naming import listed, rows_gathered, suggestion
from twinangle.signals.straight_line import Calibration
from twinangle.study.calibration_table import read_calibration
from twinangle.study.file_names import file_name_warnings
from twinangle.study.file_pairs import SensorFilePatterns
from twinangle.study.instruments import SEVERAL, Header, Part, View, names_in, views_of
from twinangle.study.participant_codes import privacy_warnings
from twinangle.study.reference_settings import AngleReference, Reference
from twinangle.study.section import Section
from twinangle.study.section_faults import SECTIONS, Faults, check_sections, read_section
from twinangle.study.settings import (
    AgreementSettings,
    ConditionSettings,
    CycleSettings,
    DailyLifeSettings,
    ReportSettings,
    StudySection,
    SynchronisationSettings,
    with_cycle_defaults,
)
from twinangle.study.study_file import Study
from twinangle.study.study_text import key_lines, parsed, read_text
from twinangle.study.table_text import inside_folder
from twinangle.study.trial_row import Needs, Trial, row_of_all
from twinangle.study.trials_table import read_trials, rows_without_any
from twinangle.study.wearable_settings import InertialWearable, OrientationWearable, Wearable


def read_bare_study(
    path: str | Path, *, allow_own_procedures: bool = False, planned: bool = False
) -> Study:
    """Read a study file and its trials table, without decisions, and check both whole.

    Parameters
    ----------
    path : path
        The study file, or the folder that holds `study.toml`.
    allow_own_procedures : bool
        Whether the file may name Python functions (``module:function``), which a run then calls.
        A study file may come from somebody else, so that it may not unless this says so.
    planned : bool
        Whether the study is still to be recorded: its files, and the rows and times of its trials
        table, may then be missing. What is there is checked all the same.

    Returns
    -------
    Study
        Settings with every default filled in, and the trials with resolved paths.

    Raises
    ------
    StudyError
        Every fault at once, one a line: file, line and key, or row and column; what was found;
        what would be accepted.
    """
    path = Path(path)
    path = path / "study.toml" if path.is_dir() else path
    text = read_text(path)
    faults = Faults(path.name, key_lines(text))
    data = parsed(text, path)
    check_sections(data, faults)
    views = views_of(data, faults)
    every = {kind: names_in(views, kind) for kind in SEVERAL}
    check_who_cuts(data.get("cycles"), every["wearable"], faults)
    kinds = [_kind(view.data.get("wearable")) for view in views]
    read = [
        _Read(
            path,
            view.data,
            faults.within(view.places),
            Header(view.wearable, view.reference, every) if view.places else None,
            allow_own_procedures=allow_own_procedures,
            planned=planned,
            beside=kinds,
        )
        for view in views
    ]
    in_table = dict.fromkeys(text for one in read for text in one.in_table)
    texts = [*faults.sorted_texts(), *in_table]
    if not texts and every["wearable"]:
        texts = rows_without_any(one.trials for one in read)
        texts += _same_twice(views, read)
    if texts:
        raise StudyError(_message(path, texts))
    return _joined(views, [one.study() for one in read])


def _same_twice(views: Sequence[View], read: Sequence[_Read]) -> list[str]:
    """Return a fault for each row in which two wearables are the same columns of one file."""
    found = []
    for (one, first), (two, second) in combinations(zip(views, read, strict=True), 2):
        columns = [getattr(each.settings["wearable"], "columns", ()) for each in (first, second)]
        if one.wearable == two.wearable or columns[0] != columns[1]:
            continue
        found += [
            f"row {mine.row}: wearables {one.wearable!r} and {two.wearable!r} are the same columns "
            "of the same file; give each its own."
            for mine, other in zip(first.trials, second.trials, strict=True)
            if not (mine.exclude or other.exclude) and mine.wearable == other.wearable
        ]
    return list(dict.fromkeys(found))


def _joined(views: Sequence[View], studies: Sequence[Study]) -> Study:
    """Return the first of the studies, with all of them as its parts where there are several."""
    trials = tuple(trial for study in studies for trial in study.trials)
    warnings = tuple(
        dict.fromkeys(
            (*privacy_warnings(studies[0].trials), *file_name_warnings(trials, studies[0].folder))
        )
    )
    several = {kind: len(names_in(views, kind)) > 1 for kind in SEVERAL}
    parts = tuple(
        Part(
            view.wearable if several["wearable"] else "",
            view.reference if several["reference"] else "",
            study,
            (view.wearable, view.reference),
        )
        for view, study in zip(views, studies, strict=True)
        if view.places
    )
    rows = tuple(map(row_of_all, zip(*(study.trials for study in studies), strict=True)))
    return replace(studies[0], trials=rows, warnings=warnings, parts=parts)


class _Read:
    """What a study file says of one wearable and one reference; its faults go to `faults`."""

    def __init__(
        self,
        path: Path,
        data: dict[str, Any],
        faults: Faults,
        seen: Header | None,
        *,
        allow_own_procedures: bool,
        planned: bool,
        beside: Iterable[object],
    ) -> None:
        data = with_cycle_defaults(data)
        self.path = path
        self.settings = {name: read_section(name, data, faults) for name in SECTIONS}
        check_cycles(self.settings, faults, beside=beside)
        if not allow_own_procedures:
            _refuse_own_procedures(self.settings["wearable"], faults)
        self.table, self.trials, self.in_table = _trials(path, self.settings, data, seen, planned)
        check_condition(self.settings, self.trials, faults)
        self.calibration = _calibration(path, self.settings, faults, planned)

    def study(self) -> Study:
        """Return the study, where nothing was at fault."""
        study = _study(self.path, self.table, self.trials, self.settings)
        return replace(study, calibration=self.calibration)


def _message(path: Path, found: list[str]) -> str:
    told = rows_gathered(found)
    if len(told) == 1:
        return told[0]
    alike = ", told together where rows have the same" if len(told) < len(found) else ""
    return "\n  ".join([f"{path.name} has {len(found)} faults{alike}:", *told])


def check_cycles(
    settings: dict[str, Section | None], faults: Faults, *, beside: Iterable[object] = ()
) -> None:
    """Refuse a method of finding cycles that neither the wearable can serve nor one beside it.

    Parameters
    ----------
    settings : dict
        The sections.
    faults : Faults
        Where faults are noted.
    beside : iterable
        Kinds of the study's other wearables, one of which may cut the cycles of all.
    """
    kind = getattr(settings["wearable"], "kind", None)
    method = getattr(settings["cycles"], "method", None)
    if kind == "angle" and method == "shank-gyroscope" and set(beside) <= {"angle"}:
        faults.add(
            ("cycles", "method"),
            "[cycles] `method` is 'shank-gyroscope', but a wearable of kind 'angle' has no "
            "gyroscope; accepted: 'angle-peak' or 'events'.",
        )


def _kind(section: object) -> object:
    return section.get("kind") if isinstance(section, dict) else None


def check_who_cuts(cycles: object, wearables: Sequence[str], faults: Faults) -> None:
    """Refuse a wearable that shall cut the cycles and is none of the study."""
    name = cycles.get("wearable") if isinstance(cycles, dict) else None
    if isinstance(name, str) and name not in wearables:
        accepted = (
            listed(wearables, last="or") if wearables else "none, as there is but one [wearable]"
        )
        faults.add(
            ("cycles", "wearable"),
            f"[cycles] `wearable` is {name!r}, which is no [wearables.NAME]; accepted: {accepted}.",
        )


def _refuse_own_procedures(wearable: Section | None, faults: Faults) -> None:
    """Refuse code that a study file names: nobody but the person who runs it may allow that."""
    if not isinstance(wearable, InertialWearable | OrientationWearable):
        return
    for name in wearable.procedures:
        if ":" in name:
            faults.add(
                ("wearable", "procedures"),
                f"[wearable] `procedures` names {name!r}, a Python function, which a study file "
                "alone may not have run. If you trust it, say --allow-own-procedures, or in "
                "Python read_study(path, allow_own_procedures=True).",
            )


def _trials(
    path: Path,
    settings: Mapping[str, Section | None],
    data: Mapping[str, Any],
    seen: Header | None,
    planned: bool,
) -> tuple[Path | None, tuple[Trial, ...], list[str]]:
    """Read the trials table, judged by the file's own words where a section is at fault."""

    def raw(section: str, key: str) -> object:
        values = data.get(section)
        return values.get(key) if isinstance(values, dict) else None

    name = raw("study", "trials")
    if not isinstance(name, str) or not name.strip():
        return None, (), []
    files = _file_patterns(raw("wearable", "files"))
    if files is None and raw("wearable", "files") is not None:
        return None, (), []  # without the patterns no file's name is known
    needs = Needs(
        static=raw("wearable", "kind") in ("inertial", "orientation"),
        reference="reference" in data,
        events=raw("cycles", "method") == "events",
        files=files,
        kind=str(raw("wearable", "kind") or "angle"),
        synchronisation=str(raw("synchronisation", "method") or "cross-correlation"),
        planned=planned,
        seen=seen,
    )
    try:
        return *read_trials(path.parent, name, needs), []
    except StudyError as error:
        return None, (), str(error).split("\n")


def _file_patterns(values: object) -> SensorFilePatterns | None:
    """Return the patterns of `[wearable.files]`; None without them, or where they are at fault."""
    try:
        return SensorFilePatterns.model_validate(values) if values is not None else None
    except ValidationError:
        return None


def _calibration(
    path: Path, settings: dict[str, Section | None], faults: Faults, planned: bool
) -> Calibration | None:
    """Fit the reference's calibration file, and put its gain and offset into the settings."""
    reference = settings["reference"]
    if not isinstance(reference, AngleReference) or reference.calibration is None:
        return None
    name, keys = reference.calibration, ("reference", "calibration")
    where = inside_folder(path.parent, name)
    if where is None:
        faults.add(keys, f"calibration {name!r} leaves the study folder; move it into the folder.")
        return None
    if planned and not where.exists():
        return None
    try:
        fitted = read_calibration(where, name)
    except StudyError as error:
        faults.add(keys, str(error))
        return None
    fields = {"gain": fitted.gain, "offset": fitted.offset}
    settings["reference"] = reference.model_copy(update=fields)
    return fitted


def check_condition(
    settings: Mapping[str, Section | None], trials: tuple[Trial, ...], faults: Faults
) -> None:
    """Refuse to compare with a condition that no trial has."""
    against = getattr(settings["conditions"], "against", None)
    known = list(dict.fromkeys(trial.condition for trial in trials))
    if trials and against is not None and against not in known:
        faults.add(
            ("conditions", "against"),
            f"[conditions] `against` is {against!r}, which no trial has; "
            f"accepted: {listed(known, last='or')}.{suggestion(against, known)}",
        )


def _study(
    path: Path,
    table: Path | None,
    trials: tuple[Trial, ...],
    settings: Mapping[str, Section | None],
) -> Study:
    study = cast(StudySection, settings["study"])
    return Study(
        title=study.title,
        joint=study.joint,
        invented=study.invented,
        folder=path.parent,
        path=path,
        table=cast(Path, table),
        trials=trials,
        wearable=cast(Wearable, settings["wearable"]),
        reference=cast("Reference | None", settings["reference"]),
        synchronisation=cast(SynchronisationSettings, settings["synchronisation"]),
        cycles=cast(CycleSettings, settings["cycles"]),
        agreement=cast(AgreementSettings, settings["agreement"]),
        conditions=cast(ConditionSettings, settings["conditions"]),
        report=cast(ReportSettings, settings["report"]),
        daily_life=cast(DailyLifeSettings, settings["daily_life"]),
    )
