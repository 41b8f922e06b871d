"""From `study.toml` to a `Study`: read whole, every fault listed at once."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeGuard, cast, get_args

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from twinangle.checks import LARGEST
from twinangle.errors import StudyError
from twinangle.naming import listed, suggestion
from twinangle.options import Options
from twinangle.signals.straight_line import Calibration
from twinangle.study.calibration_table import read_calibration
from twinangle.study.file_names import file_name_warnings
from twinangle.study.file_pairs import SensorFilePatterns
from twinangle.study.participant_codes import privacy_warnings
from twinangle.study.section import LEFT_OPEN, OPEN_TEXT, Section
from twinangle.study.settings import (
    REFERENCE_KINDS,
    WEARABLE_KINDS,
    AgreementSettings,
    AngleReference,
    ConditionSettings,
    CycleSettings,
    InertialWearable,
    OrientationWearable,
    Reference,
    ReportSettings,
    StudySection,
    SynchronisationSettings,
    Wearable,
    with_cycle_defaults,
)
from twinangle.study.trials_table import Needs, Trial, inside_folder, read_trials

PLAIN_SECTIONS: dict[str, type[Section]] = {
    "study": StudySection,
    "synchronisation": SynchronisationSettings,
    "cycles": CycleSettings,
    "agreement": AgreementSettings,
    "conditions": ConditionSettings,
    "report": ReportSettings,
}
BY_KIND = {"wearable": WEARABLE_KINDS, "reference": REFERENCE_KINDS}
# Of the sign patterns that are drawn where there are too many participants to try them all.
SEED = 20
MOST_BYTES = 1 << 20  # of a study file
DEEPEST = 20  # sections and lists within each other; a study needs four
_TOO_DEEP = f"{{}}: holds sections or lists more than {DEEPEST} deep; a study needs four at most."
# A key of many parts takes the library's reader time that grows with their square.
_QUOTED = re.compile(r"\"(?:[^\"\\\n]|\\.)*+\"|'[^'\n]*+'")
_LONG_KEY = re.compile(rf"(?<![\w-])(?:[\w-]++[ \t]*+\.[ \t]*+){{{2 * DEEPEST}}}")
SECTIONS = ("study", "wearable", "reference", *tuple(PLAIN_SECTIONS)[1:])


@dataclass(frozen=True, slots=True)
class Study:
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
    calibration: Calibration | None = None  # fitted from the file that [reference] names
    warnings: tuple[str, ...] = ()
    invented: bool = False  # no person was recorded

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


@dataclass(slots=True)
class _Faults:
    """Faults found so far in one study file."""

    name: str
    lines: Mapping[tuple[str, ...], int]
    found: list[tuple[int, str]] = field(default_factory=list)  # line (0 if unknown), text

    def add(self, keys: tuple[str, ...], text: str) -> None:
        """Note a fault at a key, with the line of the nearest key that the file spells out."""
        line = next(
            (self.lines[keys[:n]] for n in range(len(keys), 0, -1) if keys[:n] in self.lines), 0
        )
        where = f"{self.name}, line {line}" if line else self.name
        self.found.append((line, f"{where}: {text}"))

    def sorted_texts(self) -> list[str]:
        """Return the faults in the order of the file."""
        return [text for _, text in sorted(self.found, key=lambda fault: fault[0])]


def read_study(path: str | Path, *, allow_own_procedures: bool = False) -> Study:
    """Read a study file and its trials table and check both whole.

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
        Settings with every default filled in, and the trials with resolved paths.

    Raises
    ------
    StudyError
        Every fault at once, one a line: file, line and key, or row and column; what was found;
        what would be accepted.
    """
    path = Path(path)
    path = path / "study.toml" if path.is_dir() else path
    text = _read_text(path)
    data = with_cycle_defaults(_parse(text, path))
    faults = _Faults(path.name, _key_lines(text))
    _check_sections(data, faults)
    settings = {name: _section(name, data, faults) for name in SECTIONS}
    _check_cycles(settings, faults)
    if not allow_own_procedures:
        _refuse_own_procedures(settings["wearable"], faults)
    table, trials, in_table = _trials(path, settings, data)
    _check_condition(settings, trials, faults)
    calibration = _calibration(path, settings, faults)
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


def _read_text(path: Path) -> str:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise StudyError(
                f"{path}: has {size} bytes; a study file has {MOST_BYTES} at most. Is it one?"
            )
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise StudyError(
            f"{path}: there is no such file; give the path of a study file, or of the folder "
            "that holds study.toml."
        ) from None
    except UnicodeDecodeError as error:
        raise StudyError(
            f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8 text."
        ) from None
    except OSError as error:
        raise StudyError(f"{path}: cannot be read: {error.strerror}.") from None


def _parse(text: str, path: Path) -> dict[str, Any]:
    if _LONG_KEY.search(_QUOTED.sub("q", text)):
        raise StudyError(_TOO_DEEP.format(path.name))
    try:
        data = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        hint = " (write paths with /, not \\)" if "\\" in text else ""
        raise StudyError(f"{path.name}: is not valid TOML: {error}{hint}.") from None
    except RecursionError:
        raise StudyError(_TOO_DEEP.format(path.name)) from None
    except ValueError as error:  # a whole number of thousands of digits
        raise StudyError(f"{path.name}: holds a number that cannot be read: {error}.") from None
    _refuse_absurd(data, path.name)
    return cast(dict[str, Any], _tuples(data))


def _refuse_absurd(data: dict[str, Any], name: str) -> None:
    """Refuse what lies too deep to be walked through, and numbers too large to compute with."""
    layer: list[tuple[str, Any]] = list(data.items())
    for _ in range(DEEPEST):
        for key, value in layer:
            if isinstance(value, int | float) and abs(value) > LARGEST:
                raise StudyError(
                    f"{name}: `{key}` holds a number beyond ±{LARGEST:g}; give a smaller one."
                )
        layer = [(inner, each) for key, value in layer for inner, each in _parts_of(key, value)]
        if not layer:
            return
    raise StudyError(_TOO_DEEP.format(name))


def _parts_of(key: str, value: Any) -> Iterable[tuple[str, Any]]:
    """Return what a section or a list holds, with the nearest key."""
    if isinstance(value, dict):
        return value.items()
    return [(key, each) for each in value] if isinstance(value, list) else ()


def _tuples(value: Any) -> Any:
    """Turn lists into tuples: the strict models want the frozen kind."""
    if isinstance(value, list):
        return tuple(_tuples(each) for each in value)
    if isinstance(value, dict):
        return {key: _tuples(each) for key, each in value.items()}
    return value


def _key_lines(text: str) -> dict[tuple[str, ...], int]:
    """Return the line of each table header and key; a dotted key counts for its parents too."""
    lines: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[+\s*([^\[\]]+?)\s*\]+\s*(#.*)?$", line)
        key = re.match(r"\s*((?:[\w-]++|\"[^\"]*+\"|'[^']*+'|\s*+\.\s*+)++)\s*=", line)
        if header:
            table = _parts(header[1])
            keys = table
        elif key:
            keys = (*table, *_parts(key[1]))
        else:
            continue
        for size in range(1, len(keys) + 1):
            lines.setdefault(keys[:size], number)
    return lines


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _check_sections(data: Mapping[str, Any], faults: _Faults) -> None:
    """Refuse sections with no meaning, and what stands outside any section."""
    for name, value in data.items():
        if name not in SECTIONS:
            what = f"section [{name}]" if isinstance(value, dict) else f"key `{name}`"
            faults.add(
                (name,),
                f"{what} is not known.{suggestion(name, SECTIONS)} "
                f"Accepted sections: {', '.join(f'[{each}]' for each in SECTIONS)}.",
            )


def _section(name: str, data: Mapping[str, Any], faults: _Faults) -> Section | None:
    """Validate one section; None when it is absent and may be, or is at fault."""
    values = data.get(name)
    if values is None:
        if name in ("study", "wearable"):
            faults.add((), f"section [{name}] is missing; every study needs it.")
        optional = name not in ("study", "wearable", "reference")
        return PLAIN_SECTIONS[name]() if optional else None
    if not isinstance(values, dict):
        faults.add((name,), f"`{name}` must be a section, [{name}], got {values!r}.")
        return None
    model = PLAIN_SECTIONS.get(name) or _model_of_kind(name, values, faults)
    if model is None:
        return None
    try:
        return model.model_validate(values)
    except ValidationError as error:
        for detail in error.errors():
            _add_detail(name, model, detail, faults)
        return None


def _model_of_kind(name: str, values: Mapping[str, Any], faults: _Faults) -> type[Section] | None:
    """Return the model for the section's `kind`, or note that there is none."""
    kinds = BY_KIND[name]
    kind = values.get("kind")
    if isinstance(kind, str) and kind in kinds:
        return kinds[kind]
    accepted = listed(kinds, last="or")
    if kind is None:
        faults.add((name,), f"[{name}] `kind` is missing; accepted: {accepted}.")
    else:
        guess = suggestion(str(kind), kinds)
        faults.add((name, "kind"), f"[{name}] `kind` is {kind!r}; accepted: {accepted}.{guess}")
    return None


def _add_detail(name: str, model: type[Section], detail: ErrorDetails, faults: _Faults) -> None:
    """Turn one error of the model into a fault in the study's own words."""
    keys = (name, *(part for part in detail["loc"] if isinstance(part, str)))
    table = ".".join(keys[:-1]) or name
    value = detail["input"]
    item = next((part for part in detail["loc"] if isinstance(part, int)), None)
    which = f"`{keys[-1]}`" if item is None else f"item {item + 1} of `{keys[-1]}`"
    match detail["type"]:
        case "missing":
            text = f"[{table}] `{keys[-1]}` is missing."
        case "extra_forbidden":
            known = _known_keys(model, keys[1:-1])
            text = (
                f"[{table}] `{keys[-1]}` is not a known key.{suggestion(keys[-1], known)} "
                f"Accepted: {', '.join(f'`{key}`' for key in known)}."
            )
        case "value_error" if len(keys) == 1:
            text = f"[{name}] {detail['ctx']['error']}."
        case _ if value == LEFT_OPEN and detail["type"] != "literal_error":
            text = f"[{table}] {which} {OPEN_TEXT}{_wanted(detail)}."
        case "value_error":
            text = f"[{table}] {which} {detail['ctx']['error']}, got {_shown(value)}."
        case "literal_error":
            guess = suggestion(str(value), re.findall(r"'([^']*)'", detail["ctx"]["expected"]))
            text = (
                f"[{table}] `{keys[-1]}` is {_shown(value)}; "
                f"accepted: {detail['ctx']['expected']}.{guess}"
            )
        case _:
            wanted = detail["msg"].removeprefix("Input ").replace("valid ", "")
            text = f"[{table}] {which} {wanted[:1].lower()}{wanted[1:]}, got {_shown(value)}."
    faults.add(keys, text)


def _wanted(detail: ErrorDetails) -> str:
    """Return what is to stand in a place left open, where the model says more than any text."""
    kind = detail["type"].split("_")[0]
    kinds = {"tuple": "with a list of names", "float": "with a number", "int": "with a number"}
    return f" {kinds[kind]}" if kind in kinds else ""


def _shown(value: object) -> str:
    """Return a value as the study file would have it, lists as lists."""
    if isinstance(value, tuple):
        return f"[{', '.join(_shown(each) for each in value)}]"
    if isinstance(value, bool):
        return str(value).lower()
    return repr(value)


def _known_keys(model: type[Section], parents: tuple[str, ...]) -> list[str]:
    """Return the keys of the (sub)section that `parents` leads to."""
    for parent in parents:
        annotation = model.model_fields[parent].annotation
        choices = [annotation, *get_args(annotation)]  # a section, or a section that may be absent
        section = next((each for each in choices if _is_section(each)), None)
        if section is None:
            return []
        model = section
    return list(model.model_fields)


def _is_section(annotation: object) -> TypeGuard[type[Section]]:
    return isinstance(annotation, type) and issubclass(annotation, Section)


def _check_cycles(settings: dict[str, Section | None], faults: _Faults) -> None:
    """Refuse a method of finding cycles that the wearable cannot serve."""
    kind = getattr(settings["wearable"], "kind", None)
    method = getattr(settings["cycles"], "method", None)
    if kind == "angle" and method == "shank-gyroscope":
        faults.add(
            ("cycles", "method"),
            "[cycles] `method` is 'shank-gyroscope', but a wearable of kind 'angle' has no "
            "gyroscope; accepted: 'angle-peak' or 'events'.",
        )


def _refuse_own_procedures(wearable: Section | None, faults: _Faults) -> None:
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
    path: Path, settings: Mapping[str, Section | None], data: Mapping[str, Any]
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
    path: Path, settings: dict[str, Section | None], faults: _Faults
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
    try:
        fitted = read_calibration(where, name)
    except StudyError as error:
        faults.add(keys, str(error))
        return None
    fields = {"gain": fitted.gain, "offset": fitted.offset}
    settings["reference"] = reference.model_copy(update=fields)
    return fitted


def _check_condition(
    settings: Mapping[str, Section | None], trials: tuple[Trial, ...], faults: _Faults
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
    )
