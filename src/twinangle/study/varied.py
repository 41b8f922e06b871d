"""A study with other settings: the study file's, and over them what a script or notebook varies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal, TypedDict, cast

from twinangle.errors import StudyError
from twinangle.naming import suggestion
from twinangle.study.section_faults import Faults, read_section
from twinangle.wording import listing

if TYPE_CHECKING:
    from twinangle.study.section import Section
    from twinangle.study.study_file import Study

VARIED = (
    "wearable",
    "reference",
    "synchronisation",
    "cycles",
    "agreement",
    "conditions",
    "report",
    "daily_life",
)
OF_INSTRUMENTS = ("wearable", "reference", "synchronisation", "cycles")
FIXED = ("kind", "files", "calibration", "trials")  # these say what the files hold


class Changes(TypedDict, total=False):
    """What :meth:`Study.with_` takes: keys of the study file, or a section with keys of it."""

    procedures: Sequence[str]
    standing_deg: float
    standing_from_reference: bool
    axis_method: Literal["mean-rate", "principal-component", "hinge"]
    gyroscope_sample: Literal["instantaneous", "interval-mean"]
    accuracy_deg: float | None
    filter_hz: float | None
    zero_at_standing: bool
    max_gap_s: float
    max_lag_s: float
    drift: bool
    max_drift_ppm: float
    expected_lag_s: float
    signal: Literal["angle", "gyroscope"]
    movement: Literal["walking", "exercise"]
    turns: bool
    include_calibration: bool
    confidence: float
    acceptable_deg: float | None
    error_ratio: float | None
    published_interval: bool
    least_correlation: float
    against: str | None
    traces: bool | None
    stretch_min: float | None
    wearable: Mapping[str, object]
    reference: Mapping[str, object]
    synchronisation: Mapping[str, object]
    cycles: Mapping[str, object]
    agreement: Mapping[str, object]
    conditions: Mapping[str, object]
    report: Mapping[str, object]
    daily_life: Mapping[str, object]


def varied_study(study: Study, changes: Mapping[str, Any]) -> Study:
    """Return a study with changed settings, validated as the study file is.

    Raises
    ------
    StudyError
        If a key is unknown, or a value is not accepted; every fault at once.
    """
    wanted = _by_section(study, changes)
    own = [name for name in wanted if name in OF_INSTRUMENTS] if study.parts else []
    if own:
        raise StudyError(
            f"the study has several wearables or references, so that keys of "
            f"{listing(f'[{name}]' for name in own)} would be of one of them only; vary them in "
            "the study file."
        )
    faults = Faults("with_()", {})
    changed: dict[str, Any] = {
        name: _section(name, getattr(study, name), keys, faults) for name, keys in wanted.items()
    }
    texts = [text.removeprefix("with_(): ") for text in faults.sorted_texts()]
    if not texts:
        parts = tuple(replace(part, study=replace(part.study, **changed)) for part in study.parts)
        new = replace(study, **changed, parts=parts)
        texts = _against_trials(new)
    if texts:
        raise StudyError("\n  ".join(["these settings cannot be taken:", *texts]))
    told = _told(study, wanted)
    return replace(new, warnings=(*study.warnings, told)) if told else new


def _by_section(study: Study, changes: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the changes by section; a key is of the one section that has it."""
    homes = {key: name for name in VARIED for key in _keys(study, name) if key in _flat()}
    wanted: dict[str, dict[str, Any]] = {}
    for key, value in changes.items():
        if key in VARIED:
            if not isinstance(value, Mapping):
                raise StudyError(f"`{key}` takes a mapping of its keys, got {value!r}.")
            if getattr(study, key) is None:
                raise StudyError(f"the study has no section [{key}], so that it cannot be varied.")
            wanted.setdefault(key, {}).update(value)
        elif key in homes:
            wanted.setdefault(homes[key], {})[key] = value
        else:
            known = (*homes, *VARIED)
            raise StudyError(
                f"`{key}` is not a setting of this study.{suggestion(key, known)} Known: "
                f"{', '.join(homes)}; and as mappings, for every other key: {', '.join(VARIED)}."
            )
    return wanted


def _flat() -> frozenset[str]:
    return frozenset(Changes.__annotations__) - set(VARIED)


def _keys(study: Study, name: str) -> tuple[str, ...]:
    section = getattr(study, name)
    return () if section is None else tuple(type(section).model_fields)


def _section(name: str, old: Section, keys: Mapping[str, Any], faults: Faults) -> Section | None:
    """Return a section with changed keys."""
    fixed = [key for key in FIXED if key in keys]
    for key in fixed:
        said = "says what the files hold; write a study file of its own for other files."
        faults.add((name, key), f"[{name}] `{key}` {said}")
    if fixed:
        return None
    given = old.model_dump(exclude_unset=True)
    fitted: dict[str, Any] = {}
    if given.get("calibration") is not None:  # its gain and offset were fitted from the file
        fitted = {key: given.pop(key) for key in ("gain", "offset") if key in given}
    new = read_section(name, {name: {**given, **_plain(keys)}}, faults)
    return new if new is None or not fitted else new.model_copy(update=fitted)


def _plain(value: Any) -> Any:
    """Return lists as tuples, which the strict models want."""
    if isinstance(value, Mapping):
        return {key: _plain(each) for key, each in value.items()}
    return tuple(_plain(each) for each in value) if isinstance(value, list | tuple) else value


def _against_trials(study: Study) -> list[str]:
    """Return what the sections say against each other and against the trials."""
    from twinangle.study.from_file import check_condition, check_cycles  # it needs this module

    faults = Faults("with_()", {})
    settings = {name: cast("Section | None", getattr(study, name)) for name in VARIED}
    check_cycles(settings, faults)
    check_condition(settings, study.trials, faults)
    if study.cycles.method == "events":
        lacking = [trial for trial in study.trials if trial.events is None and not trial.exclude]
        if lacking:
            said = (
                f"{lacking[0].label} has no `events_s`"
                if study.in_memory
                else f"no file of events is named in the trials table's row {lacking[0].row}"
            )
            faults.add(("cycles", "method"), f"[cycles] `method` is 'events', but {said}.")
    return [text.removeprefix("with_(): ") for text in faults.sorted_texts()]


def _told(study: Study, wanted: Mapping[str, Mapping[str, Any]]) -> str:
    """Say which settings were varied, for whoever reads the results."""
    parts = [
        f"{key} from {old!r} to {_plain(value)!r}"
        for name, keys in wanted.items()
        for key, value in keys.items()
        if (old := getattr(getattr(study, name), key)) != _plain(value)
    ]
    return f"Settings varied after the study file was read: {'; '.join(parts)}." if parts else ""
