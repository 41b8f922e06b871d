"""A study with other settings: the study file's, and over them what a script or notebook varies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal, TypedDict, cast

from twinangle.errors import StudyError
from twinangle.naming import listed, suggestion
from twinangle.study.instruments import CLOCK, SEVERAL, Part
from twinangle.study.section_faults import Faults, read_section

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
Wanted = dict[str, dict[str, Any]]  # keys by section
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
    wearables: Mapping[str, Mapping[str, object]]
    references: Mapping[str, Mapping[str, object]]


def varied_study(study: Study, changes: Mapping[str, Any]) -> Study:
    """Return a study with changed settings, validated as the study file is.

    Raises
    ------
    StudyError
        If a key is unknown, or a value is not accepted; every fault at once.
    """
    own = _of_instruments(study, changes)
    rest = {key: value for key, value in changes.items() if key not in SEVERAL.values()}
    wanted = _by_section(study, rest)
    _require_names(study, wanted)
    _require_cutter(study, wanted)
    parts = study.parts or (Part("", "", study),)
    kinds = [part.study.wearable.kind for part in parts]
    varied, texts = [], []
    for part in parts:
        new, said = _varied_part(part, _of_part(part, wanted, own), kinds)
        varied.append(replace(part, study=new))
        texts += said
    if texts:
        raise StudyError("\n  ".join(["these settings cannot be taken:", *dict.fromkeys(texts)]))
    first = varied[0].study
    sections = {name: getattr(first, name) for name in VARIED}
    new = replace(study, **sections, parts=tuple(varied)) if study.parts else first
    told = _told(parts, wanted, own)
    return replace(new, warnings=(*study.warnings, told)) if told else new


def _of_instruments(study: Study, changes: Mapping[str, Any]) -> dict[tuple[str, str], Wanted]:
    """Return what is to be changed of single instruments, by kind and name."""
    found: dict[tuple[str, str], Wanted] = {}
    for kind, several in SEVERAL.items():
        named = changes.get(several, {})
        known = _names(study, kind)
        if several in changes and not known:
            raise StudyError(f"the study has no [{several}.NAME]; vary its `{kind}` instead.")
        if not isinstance(named, Mapping):
            raise StudyError(f"`{several}` takes a mapping by name, got {named!r}.")
        for name, keys in named.items():
            if name not in known:
                raise StudyError(
                    f"`{several}` has no {name!r}.{suggestion(str(name), known)} Known: "
                    f"{', '.join(known)}."
                )
            if not isinstance(keys, Mapping):
                raise StudyError(f"`{several}` {name!r} takes a mapping of keys, got {keys!r}.")
            clock = keys.get(CLOCK, {})
            if not isinstance(clock, Mapping):
                raise StudyError(f"`{CLOCK}` takes a mapping of its keys, got {clock!r}.")
            of_section = {key: value for key, value in keys.items() if key != CLOCK}
            found[kind, name] = {kind: of_section, CLOCK: dict(clock)}
    return found


def _names(study: Study, kind: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for part in study.parts if (name := getattr(part, kind))))


def _require_names(study: Study, wanted: Wanted) -> None:
    """Refuse keys of an instrument of which there are several."""
    for kind, several in SEVERAL.items():
        names = _names(study, kind)
        if kind in wanted and names:
            key = next(iter(wanted[kind]), "key")
            raise StudyError(
                f"`{key}` is of one {kind}, and the study has {listed(names)}. Say of which: "
                f"{several}={{{names[0]!r}: {{{key!r}: …}}}}."
            )


def _of_part(part: Part, wanted: Wanted, own: Mapping[tuple[str, str], Wanted]) -> Wanted:
    """Return the changes that hold for one wearable and one reference; a reference's clock last."""
    found: Wanted = {name: dict(keys) for name, keys in wanted.items()}
    for kind in SEVERAL:
        for name, keys in own.get((kind, getattr(part, kind)), {}).items():
            found.setdefault(name, {}).update(keys)
    return {name: keys for name, keys in found.items() if keys}


def _require_cutter(study: Study, wanted: Wanted) -> None:
    """Refuse a wearable that shall cut the cycles and is none of the study."""
    from twinangle.study.from_file import check_who_cuts  # it needs this module

    faults = Faults("with_()", {})
    check_who_cuts(wanted.get("cycles"), _names(study, "wearable"), faults)
    if faults.found:
        raise StudyError(faults.sorted_texts()[0].removeprefix("with_(): "))


def _varied_part(part: Part, wanted: Wanted, kinds: Sequence[str]) -> tuple[Study, list[str]]:
    """Return one pair's study with its changes, and what is wrong with them in the file's words."""
    faults = Faults("with_()", {})
    study = part.study
    changed: dict[str, Any] = {
        name: _section(name, getattr(study, name), keys, faults) for name, keys in wanted.items()
    }
    texts = [text.removeprefix("with_(): ") for text in faults.sorted_texts()]
    if not texts:
        study = replace(study, **changed)
        texts = _against_trials(study, kinds)
    return study, [part.worded(text) for text in texts]


def _by_section(study: Study, changes: Mapping[str, Any]) -> Wanted:
    """Return the changes by section; a key is of the one section that has it."""
    homes = {key: name for name in VARIED for key in _keys(study, name) if key in _flat()}
    wanted: Wanted = {}
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
            mappings = (*VARIED, *SEVERAL.values()) if study.parts else VARIED
            known = (*homes, *mappings)
            raise StudyError(
                f"`{key}` is not a setting of this study.{suggestion(key, known)} Known: "
                f"{', '.join(homes)}; and as mappings, for every other key: {', '.join(mappings)}."
            )
    return wanted


def _flat() -> frozenset[str]:
    return frozenset(Changes.__annotations__) - {*VARIED, *SEVERAL.values()}


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


def _against_trials(study: Study, kinds: Sequence[str]) -> list[str]:
    """Return what the sections say against each other and against the trials."""
    from twinangle.study.from_file import check_condition, check_cycles  # it needs this module

    faults = Faults("with_()", {})
    settings = {name: cast("Section | None", getattr(study, name)) for name in VARIED}
    check_cycles(settings, faults, beside=kinds)
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


def _told(parts: Sequence[Part], wanted: Wanted, own: Mapping[tuple[str, str], Wanted]) -> str:
    """Say which settings were varied, for whoever reads the results."""
    told = _differing(parts[0].study, wanted)
    for (kind, name), keys in own.items():
        of_it = next(part.study for part in parts if getattr(part, kind) == name)
        told += [f"[{SEVERAL[kind]}.{name}] {text}" for text in _differing(of_it, keys)]
    return f"Settings varied after the study file was read: {'; '.join(told)}." if told else ""


def _differing(study: Study, wanted: Wanted) -> list[str]:
    return [
        f"{key} from {old!r} to {_plain(value)!r}"
        for name, keys in wanted.items()
        for key, value in keys.items()
        if (old := getattr(getattr(study, name), key)) != _plain(value)
    ]
