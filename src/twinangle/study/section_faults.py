"""Sections of a study file held against their models, every fault in the words of the file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeGuard, get_args

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from twinangle.errors import closed
from twinangle.naming import listed, suggestion
from twinangle.signals.joint import SEGMENTS
from twinangle.study.reference_settings import REFERENCE_KINDS
from twinangle.study.section import LEFT_OPEN, OPEN_TEXT, Section
from twinangle.study.settings import (
    AgreementSettings,
    ConditionSettings,
    CycleSettings,
    DailyLifeSettings,
    ReportSettings,
    StudySection,
    SynchronisationSettings,
)
from twinangle.study.wearable_settings import WEARABLE_KINDS

PLAIN_SECTIONS: dict[str, type[Section]] = {
    "study": StudySection,
    "synchronisation": SynchronisationSettings,
    "cycles": CycleSettings,
    "agreement": AgreementSettings,
    "conditions": ConditionSettings,
    "report": ReportSettings,
    "daily_life": DailyLifeSettings,
}


BY_KIND = {"wearable": WEARABLE_KINDS, "reference": REFERENCE_KINDS}


SECTIONS = ("study", "wearable", "reference", *tuple(PLAIN_SECTIONS)[1:])
SEVERAL = ("wearables", "references")  # several of the two, each under a name


@dataclass(slots=True)
class Faults:
    """Faults found so far in one study file."""

    name: str
    lines: Mapping[tuple[str, ...], int]
    found: list[tuple[int, str]] = field(default_factory=list)  # line (0 if unknown), text
    places: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # of sections with names

    def within(self, places: Mapping[str, tuple[str, ...]]) -> Faults:
        """Return what notes faults here, of sections that the file has under other names."""
        return Faults(self.name, self.lines, self.found, places)

    def add(self, keys: tuple[str, ...], text: str) -> None:
        """Note a fault at a key, with the line of the nearest key that the file spells out."""
        text = in_the_files_words(text, self.places)
        for plain, place in self.places.items():
            keys = (*place, *keys[1:]) if keys[:1] == (plain,) else keys
        line = next(
            (self.lines[keys[:n]] for n in range(len(keys), 0, -1) if keys[:n] in self.lines), 0
        )
        where = f"{self.name}, line {line}" if line else self.name
        self.found.append((line, f"{where}: {text}"))

    def sorted_texts(self) -> list[str]:
        """Return the faults in the order of the file."""
        found = dict.fromkeys(sorted(self.found, key=lambda fault: fault[0]))
        return [text for _, text in found]


def in_the_files_words(text: str, places: Mapping[str, tuple[str, ...]]) -> str:
    """Return a message with plain sections named as the file has them: `[wearables.NAME.units]`."""
    for plain, place in places.items():
        text = re.sub(rf"\[{plain}(?=[\].])", f"[{'.'.join(place)}", text)
    return text


def check_sections(data: Mapping[str, Any], faults: Faults) -> None:
    """Refuse sections with no meaning, and what stands outside any section."""
    for name, value in data.items():
        if name not in (*SECTIONS, *SEVERAL):
            what = f"section [{name}]" if isinstance(value, dict) else f"key `{name}`"
            faults.add(
                (name,),
                f"{what} is not known.{suggestion(name, SECTIONS)} "
                f"Accepted sections: {', '.join(f'[{each}]' for each in SECTIONS)}.",
            )


def read_section(name: str, data: Mapping[str, Any], faults: Faults) -> Section | None:
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
        asked = any(key.startswith(LEFT_OPEN) for key in values)  # "? S1", which is either sensor
        for detail in error.errors():
            if not (asked and detail["type"] == "missing" and detail["loc"][0] in SEGMENTS):
                _add_detail(name, model, detail, faults)
        return None


def _model_of_kind(name: str, values: Mapping[str, Any], faults: Faults) -> type[Section] | None:
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


def _add_detail(name: str, model: type[Section], detail: ErrorDetails, faults: Faults) -> None:
    """Turn one error of the model into a fault in the study's own words."""
    keys = (name, *(part for part in detail["loc"] if isinstance(part, str)))
    table = ".".join(keys[:-1]) or name
    value = detail["input"]
    item = next((part for part in detail["loc"] if isinstance(part, int)), None)
    which = f"`{keys[-1]}`" if item is None else f"item {item + 1} of `{keys[-1]}`"
    match detail["type"]:
        case "extra_forbidden" if keys[-1].startswith(LEFT_OPEN):
            text = (
                f'[{table}."{keys[-1]}"] is what `twinangle init` left open: write '
                f"[{table}.proximal] or [{table}.distal], where that sensor was worn."
            )
        case "missing":
            text = f"[{table}] `{keys[-1]}` is missing."
        case "extra_forbidden":
            known = _known_keys(model, keys[1:-1])
            text = (
                f"[{table}] `{keys[-1]}` is not a known key.{suggestion(keys[-1], known)} "
                f"Accepted: {', '.join(f'`{key}`' for key in known)}."
            )
        case "value_error" if len(keys) == 1:
            text = f"[{name}] {closed(detail['ctx']['error'])}"
        case _ if value == LEFT_OPEN and detail["type"] != "literal_error":
            text = f"[{table}] {which} {OPEN_TEXT}{_wanted(detail)}."
        case "value_error":
            said = closed(detail["ctx"]["error"])[:-1]
            text = f"[{table}] {which} {said}, got {_shown(value)}."
        case "literal_error":
            guess = suggestion(str(value), re.findall(r"'([^']*)'", detail["ctx"]["expected"]))
            text = (
                f"[{table}] `{keys[-1]}` is {_shown(value)}; "
                f"accepted: {detail['ctx']['expected']}.{guess}"
            )
        case "tuple_type":
            text = (
                f"[{table}] {which} should be a list, got {_shown(value)}; "
                f"accepted: `{keys[-1]} = [{_shown(value)}]` for this one."
            )
        case _:
            wanted = detail["msg"].removeprefix("Input ").replace("valid ", "")
            text = f"[{table}] {which} {wanted[:1].lower()}{wanted[1:]}, got {_shown(value)}."
    faults.add(keys, text)


def _wanted(detail: ErrorDetails) -> str:
    """Return what is to stand in a place left open, where the model says more than any text."""
    kind = detail["type"].split("_")[0]
    if detail["loc"][-1:] == ("rate_hz",):
        return (
            " with a number, or write in its place `time`, the column of times, and `time_unit` "
            '("s", "ms" or "us")'
        )
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
