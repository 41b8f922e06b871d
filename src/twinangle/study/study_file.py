"""From `study.toml` to a `Study`: read whole, every fault listed at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Unpack, cast

from pydantic import ValidationError

from twinangle.card import Card, Shown
from twinangle.errors import StudyError
from twinangle.naming import listed, suggestion
from twinangle.options import Options
from twinangle.signals.recording import Recording
from twinangle.signals.straight_line import Calibration
from twinangle.study.calibration_table import read_calibration
from twinangle.study.decisions import Standing
from twinangle.study.file_names import file_name_warnings
from twinangle.study.file_pairs import SensorFilePatterns
from twinangle.study.from_arrays import AngleTrial, study_from_angles
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
from twinangle.study.study_text import key_lines, parsed, read_text
from twinangle.study.table_text import inside_folder
from twinangle.study.trial_row import Needs, Trial
from twinangle.study.trials_table import read_trials
from twinangle.study.varied import Changes, varied_study
from twinangle.study.wearable_settings import InertialWearable, OrientationWearable, Wearable

# Of the sign patterns that are drawn where there are too many participants to try them all.
SEED = 20


@dataclass(frozen=True, slots=True)
class Study(Shown):
    """A study as its file and trials table describe it; nothing in it is computed."""

    title: str
    joint: str
    folder: Path
    path: Path
    table: Path  # the trials table
    trials: tuple[Trial, ...]
    wearable: Wearable
    reference: Reference | None
    synchronisation: SynchronisationSettings
    cycles: CycleSettings
    agreement: AgreementSettings
    conditions: ConditionSettings
    report: ReportSettings = field(default_factory=ReportSettings)
    daily_life: DailyLifeSettings = field(default_factory=DailyLifeSettings)
    calibration: Calibration | None = None  # fitted from the file that [reference] names
    warnings: tuple[str, ...] = ()
    invented: bool = False  # no person was recorded
    decisions: tuple[Standing, ...] = ()  # of people, every one, with whether it counts

    @property
    def options(self) -> Options:
        """What the statistics of a run of this study are asked for."""
        return Options(
            confidence=self.agreement.confidence,
            margin_deg=self.agreement.acceptable_deg,
            error_ratio=self.agreement.error_ratio,
            published_interval=self.agreement.published_interval,
            reference_sd_deg=getattr(self.reference, "accuracy_deg", None),
            against=self.conditions.against,
            seed=SEED,
        )

    @property
    def in_memory(self) -> bool:
        """Whether the recordings are arrays, so that there is no file of the study."""
        return any(isinstance(trial.wearable, Recording) for trial in self.trials)

    @classmethod
    def from_angles(
        cls,
        trials: Sequence[AngleTrial],
        *,
        title: str = "Angles in memory",
        joint: str = "knee",
        **settings: Unpack[Changes],
    ) -> Study:
        """Return a study of angles that other software computed, from arrays, without any file.

        Parameters
        ----------
        trials : sequence of AngleTrial
            One a recording; each with the same procedures.
        title, joint : str
            As in a study file.
        **settings
            As of :meth:`with_`. Clocks are taken as shared where no trial has
            `reference_time_s`, else found by cross-correlation.

        Raises
        ------
        StudyError
            If arrays do not fit each other or a setting is not accepted.

        Examples
        --------
        >>> import numpy as np
        >>> from twinangle.study import AngleTrial, Study
        >>> time = np.arange(0, 40, 0.01)
        >>> knee = 30 - 30 * np.cos(2 * np.pi * time / 1.1)
        >>> trial = AngleTrial("P01", time, knee + 2.0, reference_deg=knee)
        >>> study = Study.from_angles([trial], acceptable_deg=5.0)
        >>> study.synchronisation.method
        'shared-clock'
        """
        study = study_from_angles(trials, title=title, joint=joint)
        if not settings:
            return study
        return replace(varied_study(study, settings), warnings=study.warnings)

    def with_(self, **changes: Unpack[Changes]) -> Study:
        """Return the same study with other settings, validated as the study file is.

        Parameters
        ----------
        **changes
            Keys of the study file: ``with_(procedures=["vqf"], acceptable_deg=3)``. A key that
            several sections have, or a column, goes in with its section:
            ``with_(cycles={"method": "angle-peak"})``.

        Returns
        -------
        Study
            A further value; this one stays. What differs from the study file is told in the notes
            of its results.

        Raises
        ------
        StudyError
            If a key is unknown (the message lists those that are known) or a value not accepted.

        Examples
        --------
        >>> study = read_study("study.toml")  # doctest: +SKIP
        >>> run_study(study.with_(procedures=["vqf"], acceptable_deg=3))  # doctest: +SKIP
        """
        return varied_study(self, changes)

    def _card(self) -> Card:
        from twinangle.study.shown import card_of_study  # it needs this class

        return card_of_study(self)


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
    data = with_cycle_defaults(parsed(text, path))
    faults = Faults(path.name, key_lines(text))
    check_sections(data, faults)
    settings = {name: read_section(name, data, faults) for name in SECTIONS}
    check_cycles(settings, faults)
    if not allow_own_procedures:
        _refuse_own_procedures(settings["wearable"], faults)
    table, trials, in_table = _trials(path, settings, data, planned)
    check_condition(settings, trials, faults)
    calibration = _calibration(path, settings, faults, planned)
    found = [*faults.sorted_texts(), *in_table]
    if found:
        raise StudyError(_message(path, found))
    return replace(
        _study(path, table, trials, settings),
        calibration=calibration,
        warnings=(*privacy_warnings(trials), *file_name_warnings(trials, path.parent)),
    )


def _message(path: Path, found: list[str]) -> str:
    if len(found) == 1:
        return found[0]
    return "\n  ".join([f"{path.name} has {len(found)} faults:", *found])


def check_cycles(settings: dict[str, Section | None], faults: Faults) -> None:
    """Refuse a method of finding cycles that the wearable cannot serve."""
    kind = getattr(settings["wearable"], "kind", None)
    method = getattr(settings["cycles"], "method", None)
    if kind == "angle" and method == "shank-gyroscope":
        faults.add(
            ("cycles", "method"),
            "[cycles] `method` is 'shank-gyroscope', but a wearable of kind 'angle' has no "
            "gyroscope; accepted: 'angle-peak' or 'events'.",
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
    path: Path, settings: Mapping[str, Section | None], data: Mapping[str, Any], planned: bool
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
