"""Several wearables or references in one study: the plain study that each pair of them makes."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from twinangle.naming import listed
from twinangle.study.section_faults import Faults, in_the_files_words
from twinangle.study.wearable_settings import AngleWearable
from twinangle.under_test import under_test

if TYPE_CHECKING:
    from twinangle.study.study_file import Study

SEVERAL = {"wearable": "wearables", "reference": "references"}
"""A section of one instrument, and the one whose parts are several of them by name."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*")
CLOCK = "synchronisation"


@dataclass(frozen=True, slots=True)
class Part:
    """One wearable against one reference: a plain study of the same recordings.

    A name is empty where the study has but one such instrument, in a section without a name.
    """

    wearable: str
    reference: str
    study: Study
    sections: tuple[str, str] = ("", "")  # the names in the study file, of a single one as well

    def named(self, procedure: str) -> str:
        """Return what is under test: a procedure with the names of its instruments."""
        return under_test(self.wearable, procedure, self.reference)

    def worded(self, text: str) -> str:
        """Return a message that names the sections as the study file has them."""
        return in_the_files_words(text, places_of(self.wearable, self.reference))


@dataclass(frozen=True, slots=True)
class View:
    """The sections of a study file as one wearable and one reference have them."""

    wearable: str
    reference: str
    data: dict[str, Any]

    @property
    def places(self) -> dict[str, tuple[str, ...]]:
        """Where the file has the sections of the instruments, where they have names."""
        return places_of(self.wearable, self.reference)


def places_of(wearable: str, reference: str) -> dict[str, tuple[str, ...]]:
    """Return where the file has the sections of instruments that have names."""
    names = {"wearable": wearable, "reference": reference}
    return {kind: (SEVERAL[kind], name) for kind, name in names.items() if name}


def views_of(data: Mapping[str, Any], faults: Faults) -> tuple[View, ...]:
    """Return one view of a study file for each wearable and reference; the first rules figures.

    A section `synchronisation` within an instrument goes before the study's, a reference's before a
    wearable's.
    """
    wearables, references = (_instruments(kind, data, faults) for kind in SEVERAL)
    plain = {key: each for key, each in data.items() if key not in (*SEVERAL, *SEVERAL.values())}
    return tuple(
        View(wearable, reference, plain | _own(data, (one, other)))
        for wearable, one in wearables.items()
        for reference, other in references.items()
    )


def names_in(views: Sequence[View], kind: str) -> tuple[str, ...]:
    """Return the names of the instruments of a kind; none for the one without."""
    return tuple(name for name in dict.fromkeys(getattr(view, kind) for view in views) if name)


def _own(data: Mapping[str, Any], sections: tuple[Any, Any]) -> dict[str, Any]:
    """Return the sections of one wearable and one reference, and their clock's."""
    found: dict[str, Any] = {}
    clock: dict[str, Any] = {}
    for kind, section in zip(SEVERAL, sections, strict=True):
        named = isinstance(section, dict) and SEVERAL[kind] in data
        if named and isinstance(section.get(CLOCK), dict):
            clock |= section[CLOCK]
            found[kind] = {key: each for key, each in section.items() if key != CLOCK}
        elif section is not None:
            found[kind] = section
    if clock:
        shared = data.get(CLOCK, {})
        found[CLOCK] = {**shared, **clock} if isinstance(shared, dict) else shared
    return found


def _instruments(kind: str, data: Mapping[str, Any], faults: Faults) -> dict[str, Any]:
    """Return the sections of the instruments of a kind by name, an empty one for `[wearable]`."""
    several = SEVERAL[kind]
    if several not in data:
        return {"": data.get(kind)}
    found = data[several]
    if kind in data:
        text = f"both [{kind}] and [{several}.…] are there; accepted: one of them. "
        faults.add((kind,), text + f"Move [{kind}] to a name of its own, [{several}.NAME].")
    if not isinstance(found, dict) or not found:
        faults.add((several,), f"`{several}` must hold sections, [{several}.NAME] for each {kind}.")
        return {"": data.get(kind)}
    for name in found:
        if not _NAME.fullmatch(name):
            faults.add(
                (several, name),
                f"[{several}] name {name!r}: accepted are letters without accents, digits, _ and "
                "-, a letter or digit first (it stands in names of columns).",
            )
    clashing = _clashing(kind, found)
    if clashing:
        faults.add((several,), f"[{several}] {clashing}")
    return dict(found)


# Columns of the trials table that an instrument may have of its own, behind its name.
OF_WEARABLE = {
    **{
        name: name
        for name in (
            "static", "functional", "events", "static_start_s", "static_end_s",
            "functional_start_s", "functional_end_s", "start_s", "end_s", "distal_lag_s",
            "standing_deg", "mask", "expected_lag_s", "max_lag_s",
        )
    },
    "sign": "wearable_sign",
}  # fmt: skip
OF_REFERENCE = {name: name for name in ("sign", "expected_lag_s", "max_lag_s")}


def own_columns(kind: str, name: str) -> dict[str, str]:
    """Return an instrument's columns of the trials table, each with the plain one it stands for."""
    own = OF_WEARABLE if kind == "wearable" else OF_REFERENCE
    return {f"{kind}_{name}": kind} | {f"{kind}_{name}_{end}": of for end, of in own.items()}


def _clashing(kind: str, names: Mapping[str, Any]) -> str:
    """Say which two names would share a column; empty where none do."""
    taken = dict.fromkeys(OF_WEARABLE.values(), "")
    for name in names:
        for column in own_columns(kind, name):
            if column in taken:
                other = f"{taken[column]!r} and {name!r}" if taken[column] else f"{name!r}"
                return f"{other}: the column {column!r} would have two meanings; rename."
            taken[column] = name
    return ""


@dataclass(frozen=True, slots=True)
class Header:
    """The columns of a trials table as one wearable and one reference see them.

    Parameters
    ----------
    wearable, reference : str
        Their names; empty for those without.
    every : mapping of str to tuple of str
        The names of all instruments of a kind.
    """

    wearable: str
    reference: str
    every: Mapping[str, tuple[str, ...]]

    @property
    def own(self) -> dict[str, str]:
        """The columns of these two, each with the plain one it stands for."""
        found: dict[str, str] = {}
        for kind, name in (("wearable", self.wearable), ("reference", self.reference)):
            if name:
                found |= own_columns(kind, name)
        return found

    @property
    def spelt(self) -> dict[str, str]:
        """The name of each plain column's own; the wearable's where both have one."""
        return {plain: own for own, plain in reversed(self.own.items())}

    def columns(self, header: list[str]) -> list[str]:
        """Return the plain columns, without those of other instruments."""
        own, others = self.own, self._others()
        return list(dict.fromkeys(own.get(name, name) for name in header if name not in others))

    def cells(self, row: Mapping[str, str]) -> dict[str, str]:
        """Return a row's cells; an instrument's own goes before the shared one where it is filled.

        A lag that a reference has of its own goes before one of the wearable's.
        """
        own, others = self.own, self._others()
        found = {name: cell for name, cell in row.items() if name not in {*own, *others}}
        for name, plain in own.items():
            if row.get(name):
                found[plain] = row[name]
            elif name in row:
                found.setdefault(plain, "")
        return found

    def strange(self, header: list[str]) -> Iterator[str]:
        """Yield the end of a sentence for each column of an instrument that there is not."""
        own = {c for kind, names in self.every.items() for n in names for c in own_columns(kind, n)}
        for name in header:
            for kind, names in self.every.items():
                known = name in own or name in OF_WEARABLE.values()
                if name.startswith(f"{kind}_") and names and not known:
                    ends = listed(OF_WEARABLE if kind == "wearable" else OF_REFERENCE)
                    yield (
                        f"column {name!r} is not known: [{SEVERAL[kind]}] has {listed(names)}, and "
                        f"the columns of one are {kind}_NAME, and {kind}_NAME_ with {ends}."
                    )

    def _others(self) -> set[str]:
        mine = {"wearable": self.wearable, "reference": self.reference}
        others = {
            column
            for kind, names in self.every.items()
            for name in names
            if name != mine[kind]
            for column in own_columns(kind, name)
        }
        return others - set(self.own)


def cutting_order(parts: Iterable[Part]) -> list[str]:
    """Return the wearables of a study, that first which cuts the cycles of its recordings.

    It is the one that the study names, else the first whose sensors see more than an angle (the
    foot's contact, turns), else the first; the others follow in the same order, for recordings in
    which it yields nothing.
    """
    by_name: dict[str, Study] = {}
    for part in parts:
        by_name.setdefault(part.wearable, part.study)
    return sorted(
        by_name,
        key=lambda name: (
            by_name[name].cycles.wearable != name,
            isinstance(by_name[name].wearable, AngleWearable),
        ),
    )
